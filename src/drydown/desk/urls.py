"""Addresses of the pages."""

from __future__ import annotations

from django.urls import path

from drydown.desk.views import entry, family, gate, journal, lot, setup, yard

__all__ = ["handler404", "handler500", "urlpatterns"]

handler404 = "drydown.desk.views.problem.not_found"
handler500 = "drydown.desk.views.problem.our_fault"

urlpatterns = [
    path("", yard.home, name="home"),
    path("alive/", entry.alive, name="alive"),
    path("enter/", entry.enter, name="enter"),
    path("leave/", entry.leave, name="leave"),
    path("first/<str:token>/", entry.first, name="first"),
    path("gate/", gate.gate, name="gate"),
    path("gate/echo/", gate.echo, name="gate-echo"),
    path("gate/slip/<int:pk>/", gate.slip, name="slip"),
    path("yard/", yard.yard, name="yard"),
    path("lot/<str:code>/", lot.lot_page, name="lot"),
    path("lot/<str:code>/step/", lot.step, name="lot-step"),
    path("lot/<str:code>/reading/", lot.reading, name="lot-reading"),
    path("lot/<str:code>/curve.svg", lot.curve, name="lot-curve"),
    path("lot/<str:code>/split/", family.split_lot, name="lot-split"),
    path("lot/<str:code>/join/", family.join_lots, name="lot-join"),
    path("lot/<str:code>/family.svg", family.family, name="lot-family"),
    path("journal/", journal.audit, name="journal"),
    path("journal/<int:number>/", journal.entry_page, name="entry"),
    path("journal/<int:number>/take-back/", journal.undo, name="entry-undo"),
    path("station/", setup.station_page, name="station"),
]
