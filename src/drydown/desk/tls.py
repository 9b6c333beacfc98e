"""A private certificate authority for one station, and the page that hands its certificate to phones.

Phones give a page its offline worker, camera and lasting storage only over HTTPS. A station
without a name on the internet makes an authority of its own; each phone trusts it once.
"""

from __future__ import annotations

import html
import ipaddress
import os
import threading
from collections.abc import Collection
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from importlib.resources import files as files_of
from pathlib import Path
from string import Template

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from drydown.desk.prints import qr_svg
from drydown.errors import InputError
from drydown.words import say

__all__ = ["Certificates", "ensure", "fingerprint", "hand_out"]

AUTHORITY_DAYS, DESK_DAYS, RENEW_DAYS = 3650, 397, 30
Key = ec.EllipticCurvePrivateKey


@dataclass(frozen=True, slots=True)
class Certificates:
    """Where the files are."""

    authority: Path
    certificate: Path
    key: Path
    notes: tuple[str, ...] = ()


def _write(path: Path, content: bytes, private: bool) -> None:
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600 if private else 0o644)
    with os.fdopen(handle, "wb") as out:
        out.write(content)


def _pem(key: Key) -> bytes:
    plain = serialization.NoEncryption()
    return key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, plain)


def _named(text: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, text[:60])])


def _alternatives(names: list[str]) -> list[x509.GeneralName]:
    found: list[x509.GeneralName] = []
    for name in names:
        try:
            found.append(x509.IPAddress(ipaddress.ip_address(name)))
        except ValueError:
            found.append(x509.DNSName(name))
    return found


PRIVATE = (
    "10.0.0.0/8",
    "100.64.0.0/10",
    "127.0.0.0/8",
    "169.254.0.0/16",
    "172.16.0.0/12",
    "192.168.0.0/16",
    "::1/128",
    "fc00::/7",
)
ANEW = "Take the folder 'tls' away to make a new authority; all phones then join anew."
LOCAL_ENDS = ("localhost", "local", "lan", "internal", "home.arpa")


def _limits(names: list[str]) -> x509.NameConstraints:
    """Names the authority may vouch for: private addresses, local names, and this machine's own."""
    found: list[x509.GeneralName] = [x509.IPAddress(ipaddress.ip_network(net)) for net in PRIVATE]
    nets = [ipaddress.ip_network(net) for net in PRIVATE]
    for name in _alternatives(names):
        if isinstance(name, x509.IPAddress) and not any(name.value in net for net in nets):
            found.append(x509.IPAddress(ipaddress.ip_network(str(name.value))))
    own = [n.value for n in _alternatives(names) if isinstance(n, x509.DNSName)]
    found += [x509.DNSName(name) for name in dict.fromkeys([*LOCAL_ENDS, *own])]
    return x509.NameConstraints(permitted_subtrees=found, excluded_subtrees=None)


def _covered(authority: x509.Certificate, names: list[str], own: Collection[str]) -> list[str]:
    """Names that the authority may not vouch for, of the machine's own; any other one is refused.

    Told in a sentence, instead of a browser's riddle on every phone.
    """
    lost = []
    limits = authority.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees or []
    nets = [ipaddress.ip_network(str(n.value)) for n in limits if isinstance(n, x509.IPAddress)]
    ends = [str(n.value) for n in limits if isinstance(n, x509.DNSName)]
    for name in names:
        try:
            address = ipaddress.ip_address(name)
            good = any(address in net for net in nets)
        except ValueError:
            good = any(name == end or name.endswith(f".{end}") for end in ends)
        if not good and name in own:
            lost.append(name)
        elif not good:
            raise InputError(
                say(
                    "is not a private address or a name the authority was made for ({ends}).",
                    ends=", ".join(ends),
                ),
                name,
                ANEW,
            )
    return lost


def _authority(folder: Path, station: str, names: list[str], now: datetime) -> tuple[x509.Certificate, Key]:
    """The station's authority: read, or made once, for private addresses and its own names only."""
    cert_file, key_file = folder / "authority.crt", folder / "authority.key"
    if cert_file.exists() and key_file.exists():
        kept = serialization.load_pem_private_key(key_file.read_bytes(), None)
        assert isinstance(kept, ec.EllipticCurvePrivateKey)  # noqa: S101 (we wrote it)
        return x509.load_pem_x509_certificate(cert_file.read_bytes()), kept
    key = ec.generate_private_key(ec.SECP256R1())
    name = _named(say("Drydown authority, {station}", station=station))
    usage = x509.KeyUsage(False, False, False, False, False, True, True, False, False)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=AUTHORITY_DAYS))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(_limits(names), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    _write(key_file, _pem(key), private=True)
    _write(cert_file, certificate.public_bytes(serialization.Encoding.PEM), private=False)
    return certificate, key


def _still_good(path: Path, wanted: list[x509.GeneralName], now: datetime) -> bool:
    if not path.exists():
        return False
    made = x509.load_pem_x509_certificate(path.read_bytes())
    names = list(made.extensions.get_extension_for_class(x509.SubjectAlternativeName).value)
    begun = made.not_valid_before_utc <= now
    return begun and names == wanted and made.not_valid_after_utc - now > timedelta(days=RENEW_DAYS)


def _in_time(authority: x509.Certificate, now: datetime) -> None:
    """Refuse to serve under an authority that phones would not take at this time."""
    begin, end = authority.not_valid_before_utc, authority.not_valid_after_utc
    if not begin <= now <= end:
        raise InputError(
            say(
                "is good from {begin:%d %b %Y} to {end:%d %b %Y}, and this machine's clock says "
                "{now:%d %b %Y}.",
                begin=begin,
                end=end,
                now=now,
            ),
            "the station's authority",
            say("Set the clock right. If it is right: {lower}{value}", lower=ANEW[0].lower(), value=ANEW[1:]),
        )


def ensure(
    folder: Path, station: str, names: list[str], now: datetime | None = None, own: Collection[str] = ()
) -> Certificates:
    """Authority and desk certificate, made or renewed where needed.

    Args: folder, kept private; station, for the certificate's name; names and addresses the
    desk is reached by; now; own, those of the names that the machine has by itself: one that an
    older authority does not cover is left out, and said in `notes`. The desk's certificate lasts
    397 days, the most that phones accept, and is renewed a month before its end or when the names change.
    """
    now = now or datetime.now(UTC)
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    authority, signer = _authority(folder, station, names, now)
    _in_time(authority, now)
    lost = _covered(authority, names, own)
    names = [name for name in names if name not in lost]
    notes = tuple(
        say("{name} is not covered by the station's authority. {anew}", name=name, anew=ANEW) for name in lost
    )
    files = Certificates(folder / "authority.crt", folder / "desk.crt", folder / "desk.key", notes)
    wanted = _alternatives(names)
    if _still_good(files.certificate, wanted, now) and files.key.exists():
        return files
    key = ec.generate_private_key(ec.SECP256R1())
    usage = x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH])
    known = authority.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value
    certificate = (
        x509.CertificateBuilder()
        .subject_name(_named(names[-1]))
        .issuer_name(authority.subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=DESK_DAYS - 1))
        .add_extension(x509.SubjectAlternativeName(wanted), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage, critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(known), critical=False)
        .sign(signer, hashes.SHA256())
    )
    _write(files.key, _pem(key), private=True)
    _write(files.certificate, certificate.public_bytes(serialization.Encoding.PEM), private=False)
    return files


def fingerprint(path: Path) -> str:
    """SHA-256 of a certificate in groups of four, to compare by eye."""
    digest = x509.load_pem_x509_certificate(path.read_bytes()).fingerprint(hashes.SHA256()).hex()
    return " ".join(digest[i : i + 4] for i in range(0, 32, 4))


def hand_out(host: str, port: int, files: Certificates, station: str, address: str) -> ThreadingHTTPServer:
    """Serve the joining page and the certificate, over plain HTTP, beside the desk."""
    said = fingerprint(files.authority)
    sheet = Template((files_of("drydown.desk") / "templates" / "desk" / "joining.html").read_text("utf-8"))
    words = {"station": html.escape(station), "address": html.escape(address), "qr": qr_svg(address)}
    page = sheet.substitute(words, fingerprint=said).encode()
    certificate = files.authority.read_bytes()

    sheets = {
        "/": (page, "text/html; charset=utf-8"),
        "/authority.crt": (certificate, "application/x-x509-ca-cert"),
    }

    class Handler(BaseHTTPRequestHandler):
        """Two files, nothing else."""

        def do_GET(self) -> None:
            """Answer with the page, the certificate, or nothing."""
            found = sheets.get(self.path)
            if found is None:
                self.send_error(404)
                return
            self.send_response(200)
            self.send_header("Content-Type", found[1])
            self.send_header("Content-Length", str(len(found[0])))
            self.end_headers()
            self.wfile.write(found[0])

        def log_message(self, *_words: object) -> None:
            """Quiet."""

    server = ThreadingHTTPServer((host, port), Handler)
    threading.Thread(target=server.serve_forever, name="joining", daemon=True).start()
    return server
