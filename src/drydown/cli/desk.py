"""`drydown serve`, `drydown demo`, `drydown owner-link`: start the desk and let people in."""

from __future__ import annotations

import os
import socket
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from drydown.cli.running import holding, says_running
from drydown.cli.show import answering, out, waiting
from drydown.desk.lean import become
from drydown.errors import InputError
from drydown.words import say

if TYPE_CHECKING:
    from drydown.desk.addresses import Reach

LOCAL = {"127.0.0.1", "localhost", "::1"}

__all__ = ["begin", "demo", "owner_link", "serve", "unlock"]

Data = Annotated[Path, typer.Option(help="folder for books, station file and secret")]
Host = Annotated[str, typer.Option(help="address to listen on; 0.0.0.0 for the local network")]
Port = Annotated[int, typer.Option(help="port to listen on", min=1, max=65535)]


def serve(
    data: Data = Path("drydown-data"),
    host: Host = "127.0.0.1",
    port: Port = 8321,
    copies_to: Annotated[
        Path | None, typer.Option(help="folder for scheduled copies (default: copies in the data folder)")
    ] = None,
    copy_every_h: Annotated[float, typer.Option(help="hours between copies; 0 for none", min=0)] = 24.0,
    keep: Annotated[int, typer.Option(help="scheduled copies to keep; 0 for all", min=0)] = 30,
    tls: Annotated[
        bool, typer.Option("--tls", help="HTTPS by the station's own certificate; phones join by a QR code")
    ] = False,
    name: Annotated[
        list[str] | None, typer.Option(help="further name or address this machine is reached by")
    ] = None,
) -> None:
    """Start the desk on your own books; the first start prints a one-time owner link."""
    with answering():
        if says_running(data.resolve()):
            return
        _free(host, port)
        if tls:
            _free(host, port - 1)
            os.environ["DRYDOWN_TLS"] = "1"
        known = begin(data, demo=False, host=host, names=name or [])
        from drydown.books.prepare import make_owner_link, needs_owner  # noqa: PLC0415
        from drydown.desk.addresses import shown_host  # noqa: PLC0415

        address = f"{'https' if tls else 'http'}://{shown_host(known.best)}:{port}/"
        joining = _join(data.resolve(), port, known, name or []) if tls else None
        out.print(f"Drydown is at {address}", markup=False)
        for note in known.notes:
            out.print(note, markup=False)
        if needs_owner():
            out.print(f"First log-in, works once: {address}first/{make_owner_link()}/", markup=False)
        if host not in LOCAL and not tls:
            out.print("This listens beyond this machine, without encryption: trusted networks only.")
            out.print("Phones then cannot keep pages for work without network; --tls makes that possible.")
        where = str(data.resolve())
        copies = [str(copies_to or data.resolve() / "copies"), copy_every_h, keep] if copy_every_h else None
        plan = {"host": host, "port": port, "data": where, "copies": copies, "tls": joining}
        with holding(data.resolve(), address) as lock:
            become(plan, lock)


def _join(data: Path, port: int, known: Reach, asked: list[str]) -> dict[str, Any]:
    """Certificates, the joining page, and its QR code in the terminal."""
    from drydown.desk.addresses import shown_host  # noqa: PLC0415
    from drydown.desk.tls import ensure, fingerprint  # noqa: PLC0415
    from drydown.station.load import load_station  # noqa: PLC0415

    file = data / "station.toml"
    station = load_station(file).place.name if file.exists() else "this station"
    files = ensure(data / "tls", station, list(known.names), own=set(known.names) - set(asked))
    for words in files.notes:
        out.print(words, markup=False)
    reached = shown_host(known.best)
    join = f"http://{reached}:{port - 1}/"
    out.print(f"Phones join at {join} (fingerprint {fingerprint(files.authority)})", markup=False)
    import segno  # noqa: PLC0415

    segno.make(join, error="m", micro=False).terminal(compact=True)
    own = [name for name in known.names if name not in asked]
    return {
        "names": list(known.names),
        "own": own,
        "station": station,
        "address": f"https://{reached}:{port}/",
    }


def demo(data: Data = Path("data/demo"), host: Host = "127.0.0.1", port: Port = 8321) -> None:
    """Start the desk with an invented station and half a season of invented deliveries."""
    with answering():
        if host not in LOCAL:
            raise InputError(
                "is not this machine; the demo asks no password.", say("--host {host}", host=host)
            )
        if says_running(data.resolve()):
            return
        port = next_free(host, port)
        begin(data, demo=True)
        from drydown.books.models import Delivery  # noqa: PLC0415
        from drydown.books.prepare import fill_demo, warm_forecasts  # noqa: PLC0415

        if not Delivery.objects.exists():
            out.print("Preparing an invented half season, about a minute; only the first time.", markup=False)
        with waiting("writing an invented half season", quiet=False):
            written = fill_demo(data.resolve() / "station.toml", datetime.now(UTC))
            if written:
                warm_forecasts()
        if written:
            out.print(f"Wrote {written} invented deliveries to {data}.", markup=False)
        address = f"http://{host}:{port}/"
        with holding(data.resolve(), address) as lock:
            out.print(f"Drydown's demo is at {address} (stop it with Ctrl-C)", markup=False)
            where = str(data.resolve())
            become({"host": host, "port": port, "data": where, "copies": None, "tls": None}, lock)


def owner_link(data: Data = Path("drydown-data"), host: Host = "127.0.0.1", port: Port = 8321) -> None:
    """Print a new one-time link: the owner's first entry, or a new password for the owner."""
    with answering():
        if not (data / "secret.key").exists():
            raise InputError("holds no station.", str(data), "Give the folder that `drydown serve` uses.")
        begin(data, demo=False)
        from drydown.books.prepare import make_owner_link  # noqa: PLC0415

        last = data / "address.txt"  # where the desk was served last
        address = last.read_text(encoding="utf-8") if last.exists() else f"http://{host}:{port}/"
        out.print(f"{address}first/{make_owner_link()}/", markup=False)


def unlock(
    name: Annotated[str, typer.Argument(help="name of the person who is locked out")],
    data: Data = Path("drydown-data"),
) -> None:
    """Let someone try again who is locked out after too many wrong passwords."""
    with answering():
        if not (data / "secret.key").exists():
            raise InputError("holds no station.", str(data), "Give the folder that `drydown serve` uses.")
        begin(data, demo=False)
        from axes.utils import reset  # noqa: PLC0415

        count = reset(username=name)
        out.print(f"{count} locks of '{name}' taken away.", markup=False)


def _free(host: str, port: int) -> None:
    """Refuse early, in one sentence, when the address is taken."""
    problem = taken(host, port)
    if problem:
        raise InputError(
            say("cannot be used ({problem}).", problem=problem),
            f"{host}:{port}",
            say("Choose another: --port {port}", port=port + 1),
        )


def taken(host: str, port: int) -> str:
    """Why an address cannot be listened on; empty when it can."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            return error.strerror or "in use"
    return ""


def next_free(host: str, port: int, most: int = 50) -> int:
    """The port asked for, or the next one that nobody holds; said so when it is another."""
    for candidate in range(port, min(port + most, 65536)):
        if not taken(host, candidate):
            if candidate != port:
                out.print(f"Port {port} is taken by another program; using {candidate}.", markup=False)
            return candidate
    raise InputError(
        say("and the {most} after it are taken.", most=most),
        say("port {port}", port=port),
        "Choose another: --port 9000",
    )


def begin(data: Path, demo: bool, host: str = "127.0.0.1", names: list[str] | None = None) -> Reach:
    """Folder, settings and tables; returns what the desk is called.

    The names it answers to are put before the settings are read: nothing changes them afterwards.
    """
    os.environ["DRYDOWN_DATA"] = str(data.resolve())
    os.environ["DRYDOWN_DEMO"] = "1" if demo else "0"
    os.environ["DJANGO_SETTINGS_MODULE"] = "drydown.desk.settings"
    try:
        import django  # noqa: PLC0415
        import granian  # noqa: F401, PLC0415
    except ImportError as error:
        raise InputError(
            "the desk is not installed.", "drydown", "Install drydown[desk], or use `make run`."
        ) from error
    from drydown.books.prepare import prepare_folder, prepare_tables, refuse_other_kind  # noqa: PLC0415
    from drydown.desk.addresses import reach, shown_host  # noqa: PLC0415

    known = reach(host, names or [])
    os.environ.setdefault("DRYDOWN_HOSTS", ",".join(shown_host(n) for n in known.names))
    prepare_folder(data.resolve())
    refuse_other_kind(data.resolve(), demo)
    django.setup()
    prepare_tables()
    return known
