"""The station's own certificates: good for browsers, renewed in time, and the joining page."""

from __future__ import annotations

import http.client
import os
import socket
import ssl
import stat
import subprocess
import sys
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes

from drydown.desk.tls import ensure, fingerprint, hand_out


def test_certificates_hold_for_the_names_and_are_private(tmp_path: Path) -> None:
    files = ensure(tmp_path / "tls", "Orimba", ["localhost", "127.0.0.1"])
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(files.certificate, files.key)
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]

        def serve() -> None:
            plain, _who = server.accept()
            with context.wrap_socket(plain, server_side=True) as line:
                line.recv(10)

        thread = threading.Thread(target=serve, daemon=True)
        thread.start()
        trusting = ssl.create_default_context(cafile=str(files.authority))
        plain = socket.create_connection(("127.0.0.1", port))
        with trusting.wrap_socket(plain, server_hostname="127.0.0.1") as line:
            assert line.version() == "TLSv1.3"
            line.send(b"x")
        thread.join(5)
    if os.name != "nt":
        assert stat.S_IMODE(files.key.stat().st_mode) == 0o600
        assert stat.S_IMODE((tmp_path / "tls").stat().st_mode) == 0o700


def test_certificates_are_renewed_and_the_authority_stays(tmp_path: Path) -> None:
    now = datetime(2026, 1, 1, tzinfo=UTC)

    def made(names: list[str], at: datetime) -> tuple[bytes, bytes]:
        files = ensure(tmp_path, "Orimba", names, at)
        return files.authority.read_bytes(), files.certificate.read_bytes()

    first = made(["localhost"], now)
    assert made(["localhost"], now + timedelta(days=300)) == first
    later = made(["localhost"], now + timedelta(days=380))
    assert later[0] == first[0]
    assert later[1] != first[1]
    assert made(["localhost", "192.168.4.1"], now + timedelta(days=381))[1] != later[1]
    leaf = x509.load_pem_x509_certificate(later[1])
    # Browsers refuse server certificates that are good for longer than 398 days (CA/Browser Forum
    # Ballot SC-31 and the large browsers' own rules).
    assert leaf.not_valid_after_utc - leaf.not_valid_before_utc <= timedelta(days=398)
    top = x509.load_pem_x509_certificate(first[0])
    assert top.extensions.get_extension_for_class(x509.BasicConstraints).value.path_length == 0


def test_the_joining_page_hands_out_the_certificate_and_nothing_else(tmp_path: Path) -> None:
    files = ensure(tmp_path, "Orimba <b>", ["localhost"])
    server = hand_out("127.0.0.1", 0, files, "Orimba <b>", "https://127.0.0.1:8321/")
    port = int(server.server_address[1])

    def get(path: str) -> tuple[int, bytes]:
        line = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
        line.request("GET", path)
        answer = line.getresponse()
        return answer.status, answer.read()

    try:
        status, page = get("/")
        assert status == 200
        assert fingerprint(files.authority).encode() in page
        assert b"Orimba &lt;b&gt;" in page
        assert b"<svg" in page
        assert get("/authority.crt") == (200, files.authority.read_bytes())
        for path in ("/authority.key", "/desk.key", "/../authority.key", "/x"):
            assert get(path)[0] == 404
    finally:
        server.shutdown()
        server.server_close()


@pytest.mark.parametrize("level", ["--deploy"])
def test_deployment_checks_are_silent(tmp_path: Path, level: str) -> None:
    # Django's own list for a served site, with HTTPS on.
    from drydown.books.prepare import prepare_folder

    prepare_folder(tmp_path)
    env = os.environ | {"DRYDOWN_DATA": str(tmp_path), "DRYDOWN_TLS": "1",
                        "DJANGO_SETTINGS_MODULE": "drydown.desk.settings"}  # fmt: skip
    call = [sys.executable, "-m", "django", "check", level, "--fail-level", "WARNING"]
    done = subprocess.run(call, env=env, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "no issues" in done.stdout


def test_the_authority_vouches_for_nothing_but_private_names(tmp_path: Path) -> None:
    from cryptography.x509.verification import PolicyBuilder, Store, VerificationError

    from drydown.desk.tls import _authority
    from drydown.errors import InputError

    files = ensure(tmp_path, "Orimba", ["localhost", "192.168.4.1"])
    for name in ("example.org", "8.8.8.8"):
        with pytest.raises(InputError, match="not a private address or a name"):
            ensure(tmp_path, "Orimba", ["localhost", name])
    now = datetime.now(UTC)
    authority, signer = _authority(tmp_path, "Orimba", ["localhost"], now)
    good = x509.load_pem_x509_certificate(files.certificate.read_bytes())
    builder = x509.CertificateBuilder(  # what a thief of the key would sign: as ours, for another name
        issuer_name=good.issuer, subject_name=good.subject, public_key=good.public_key(), serial_number=7,
        not_valid_before=good.not_valid_before_utc, not_valid_after=good.not_valid_after_utc,
    )  # fmt: skip
    for found in good.extensions:
        value = found.value
        if isinstance(value, x509.SubjectAlternativeName):
            value = x509.SubjectAlternativeName([x509.DNSName("example.org")])
        builder = builder.add_extension(value, found.critical)
    forged = builder.sign(signer, hashes.SHA256())
    policy = PolicyBuilder().store(Store([authority])).time(now)
    policy.build_server_verifier(x509.DNSName("localhost")).verify(good, [])
    with pytest.raises(VerificationError, match=r"name constraint|permitted"):
        policy.build_server_verifier(x509.DNSName("example.org")).verify(forged, [])
