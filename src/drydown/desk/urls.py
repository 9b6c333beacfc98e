"""Addresses of the pages."""

from __future__ import annotations

from django.urls import path, register_converter
from django.urls.converters import IntConverter

from drydown.desk.api.routes import api
from drydown.desk.views import (
    air,
    carrying,
    day,
    drawing,
    dried,
    entry,
    family,
    field,
    gate,
    growers,
    journal,
    lot,
    lotacts,
    mend,
    money,
    payrun,
    people,
    photo,
    reckon,
    room,
    routes,
    sample,
    season,
    setup,
    tasting,
    week,
    yard,
)
from drydown.desk.views import (
    round as rounds,
)

__all__ = ["handler404", "handler500", "urlpatterns"]


class NumberConverter(IntConverter):
    """A whole number that every database holds."""

    regex = "[0-9]{1,15}"


register_converter(NumberConverter, "number")
handler404 = "drydown.desk.views.problem.not_found"
handler500 = "drydown.desk.views.problem.our_fault"

urlpatterns = [
    path("", yard.home, name="home"),
    path("day/", day.day, name="day"),
    path("day/ahead/", day.ahead, name="day-ahead"),
    path("day/done/", day.line_done, name="day-done"),
    path("day/later/", day.line_later, name="day-later"),
    path("day/sky/", day.sky, name="day-sky"),
    path("calendar/<str:token>.ics", day.calendar, name="day-calendar"),
    path("air/", air.air, name="air"),
    path("air/place/", air.place_channel, name="air-place"),
    path("week/", week.week, name="week"),
    path("week/accept/", week.week_accept, name="week-accept"),
    path("week/expect/", week.week_expect, name="week-expect"),
    path("week/before/", week.week_before, name="week-before"),
    path("week/print/", week.week_print, name="week-print"),
    path("routes/", routes.routes, name="routes"),
    path("season/", season.season, name="season"),
    path("air/read/", air.air_reading, name="air-read"),
    path("air/ask/", air.ask_forecast, name="air-ask"),
    path("round/", rounds.walk, name="round"),
    path("round/bed/", rounds.bed_act, name="round-bed"),
    path("room/", room.room, name="room"),
    path("alive/", entry.alive, name="alive"),
    path("enter/", entry.enter, name="enter"),
    path("leave/", entry.leave, name="leave"),
    path("first/<str:token>/", entry.first, name="first"),
    path("gate/", gate.gate, name="gate"),
    path("gate/echo/", gate.echo, name="gate-echo"),
    path("gate/slip/<number:pk>/photo/", gate.photo, name="slip-photo"),
    path("gate/slip/<number:pk>/grower/", mend.to_other_grower, name="slip-hand"),
    path("gate/slip/<number:pk>/owed/", journal.owed_otherwise, name="slip-owed"),
    path("gate/scale/", gate.scale, name="gate-scale"),
    path("gate/slip/<number:pk>/", gate.slip, name="slip"),
    path("gate/slip/<number:pk>.pdf", growers.slip_pdf, name="slip-pdf"),
    path("growers/", growers.growers, name="growers"),
    path("growers/cards.pdf", growers.cards_pdf, name="cards"),
    path("growers/<number:number>/", growers.grower_page, name="grower"),
    path("growers/<number:number>/statement.pdf", growers.statement_pdf, name="statement"),
    path("money/", money.money_page, name="money"),
    path("money/run/", payrun.pay, name="pay-run"),
    path("people/", people.people_page, name="people"),
    path("people/<number:pk>/", people.change_person, name="person"),
    path("carry/", carrying.bring_in, name="bring"),
    path("carry/everything.<str:fmt>", carrying.everything, name="everything"),
    path("me/", people.me, name="me"),
    path("me/leave-all/", people.leave_all, name="leave-all"),
    path("me/pin/", people.set_pin, name="pin"),
    path("devices/", people.devices, name="devices"),
    path("devices/carry-in/", field.carry_in, name="carry-in"),
    path("field/", field.field, name="field"),
    path("field/count/", field.count, name="count"),
    path("field/worker.js", field.worker, name="worker"),
    path("bench/", sample.bench, name="bench"),
    path("reckon/", reckon.reckon, name="reckon"),
    path("bench/drawing/", drawing.drawing, name="drawing"),
    path("bench/tasting/", tasting.open_tasting, name="tasting-new"),
    path("bench/tasting/<number:number>/", tasting.tasting_page, name="tasting"),
    path("bench/tasting/<number:number>/<number:seat>/", tasting.sheet, name="tasting-sheet"),
    path("bench/<number:number>/", sample.sample_page, name="sample"),
    path("bench/<number:number>.pdf", sample.sample_report, name="sample-report"),
    path("bench/<number:number>/count/", sample.add_count, name="sample-count"),
    path("bench/<number:number>/photo/", photo.add_photo, name="sample-photo-add"),
    path("bench/<number:number>/photo/file/", sample.sample_photo, name="sample-photo"),
    path("bench/<number:number>/screens.svg", sample.screens, name="sample-screens"),
    path("bench/<number:number>/sheet/<str:kind>/", sample.add_sheet, name="sample-sheet"),
    path("api/", api.urls),
    path("devices/<number:pk>/close/", people.close_device, name="device-close"),
    path("switch/", people.switch, name="switch"),
    path("more/", yard.more, name="more"),
    path("yard/", yard.yard, name="yard"),
    path("yard/dried/", dried.dried, name="dried"),
    path("lot/<str:code>/", lot.lot_page, name="lot"),
    path("lot/<str:code>/step/", lotacts.step, name="lot-step"),
    path("lot/<str:code>/reading/", lotacts.reading, name="lot-reading"),
    path("lot/<str:code>/curve.svg", lot.curve, name="lot-curve"),
    path("lot/<str:code>/split/", family.split_lot, name="lot-split"),
    path("lot/<str:code>/join/", family.join_lots, name="lot-join"),
    path("lot/<str:code>/family.svg", family.family, name="lot-family"),
    path("journal/", journal.audit, name="journal"),
    path("journal/<number:number>/", journal.entry_page, name="entry"),
    path("journal/<number:number>/mend/", mend.mend_entry, name="mend"),
    path("journal/<number:number>/take-back/", journal.undo, name="entry-undo"),
    path("station/", setup.station_page, name="station"),
    path("station/picture/", setup.picture, name="station-picture"),
]
