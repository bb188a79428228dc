"""The shop's own authority: trusted by whoever was given it, for the shop's own names only."""

from __future__ import annotations

import socket
import ssl
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from threading import Thread

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec

from tooling.errors import Conflict, ToolingError, Unknown
from tooling.queries import certificates as kept_files
from tooling.queries.certificates import certificates_kept
from tooling.services import certificates

NOW = datetime.now(UTC)


@pytest.fixture(autouse=True)
def own_folder(settings, tmp_path):
    settings.DATA_DIR = tmp_path
    return tmp_path / "https"


@contextmanager
def answering():
    """A TLS server with the kept certificate; its port."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(kept_files.server_file())
    with socket.create_server(("127.0.0.1", 0)) as listening:

        def answer() -> None:
            plain, _address = listening.accept()
            try:
                context.wrap_socket(plain, server_side=True).close()
            except (ssl.SSLError, ConnectionError):
                plain.close()

        thread = Thread(target=answer)
        thread.start()
        yield listening.getsockname()[1]
        thread.join()


def greet(name: str, *, trusted: bool = True) -> str:
    """Connect under a name as a strict client does; the error that it meets, or nothing."""
    context = ssl.create_default_context()
    context.verify_flags |= ssl.VERIFY_X509_STRICT
    if trusted:
        context.load_verify_locations(kept_files.handed_out_file())
    with answering() as port, socket.create_connection(("127.0.0.1", port)) as plain:
        try:
            context.wrap_socket(plain, server_hostname=name).close()
        except ssl.SSLCertVerificationError as error:
            return error.verify_message
    return ""


def test_whoever_was_given_the_authority_trusts_the_server() -> None:
    certificates.make(at=NOW, names=["tools.lan", "192.168.7.20"])
    for name in ("tools.lan", "localhost", "127.0.0.1", "192.168.7.20"):
        assert greet(name) == ""


def test_nobody_else_does() -> None:
    certificates.make(at=NOW)
    assert "self-signed" in greet("localhost", trusted=False)


def test_it_answers_under_no_other_name() -> None:
    certificates.make(at=NOW, names=["tools.lan"])
    assert "Hostname mismatch" in greet("stores.lan")


def test_no_phone_believes_the_authority_about_a_site_outside_the_shop() -> None:
    """Whoever takes its key cannot imitate a bank: the client itself refuses the name."""
    certificates.make(at=NOW)
    with pytest.raises(Conflict) as refused:
        certificates.make(at=NOW, names=["bank.example.com"])
    assert refused.value.code == "name_outside_authority"
    certificates._make_server(at=NOW, names=["bank.example.com", "localhost"])
    assert "permitted subtree violation" in greet("localhost")


def test_a_name_of_the_shops_own_is_taken_when_the_authority_is_made_with_it() -> None:
    certificates.make(at=NOW, names=["tools.mill.example"])
    assert greet("tools.mill.example") == ""
    certificates.make(at=NOW, names=["stores.tools.mill.example"])
    assert greet("stores.tools.mill.example") == ""


def test_keys_are_read_by_their_owner_only(own_folder) -> None:
    certificates.make(at=NOW)
    modes = {path.name: path.stat().st_mode & 0o777 for path in own_folder.iterdir()}
    assert modes == {"authority.pem": 0o600, "server.pem": 0o600, "authority.crt": 0o644}
    assert own_folder.stat().st_mode & 0o077 == 0
    assert b"PRIVATE" not in kept_files.handed_out_file().read_bytes()


def test_the_authority_lasts_ten_years_and_the_server_what_browsers_allow() -> None:
    kept = certificates.make(at=NOW)
    server, authority = kept_files.read_certificates(kept_files.server_file())
    lasts = server.not_valid_after_utc - server.not_valid_before_utc
    assert lasts <= timedelta(days=398)
    assert authority.not_valid_after_utc - NOW > timedelta(days=3650)
    assert kept.until == server.not_valid_after_utc


def test_making_again_keeps_the_authority_that_phones_have_and_the_names() -> None:
    first = certificates.make(at=NOW, names=["tools.lan"])
    again = certificates.make(at=NOW + timedelta(days=200), names=["stores.lan"])
    assert again.fingerprint == first.fingerprint
    assert {"tools.lan", "stores.lan"} <= set(again.names)
    assert again.until > first.until


def test_a_new_authority_is_made_only_when_asked_for() -> None:
    first = certificates.make(at=NOW)
    other = certificates.make(at=NOW, new_authority=True)
    assert other.fingerprint != first.fingerprint
    assert greet("localhost") == ""


@pytest.mark.parametrize(("days", "renews"), [(0, False), (360, False), (367, True), (500, True)])
def test_it_is_renewed_in_its_last_month(days: int, renews: bool) -> None:
    first = certificates.make(at=NOW)
    assert certificates.keep_fresh(at=NOW + timedelta(days=days)) is renews
    kept = certificates_kept()
    assert kept is not None
    assert (kept.until > first.until) is renews


def test_it_is_renewed_when_the_machine_got_another_address() -> None:
    certificates.make(at=NOW)
    found = ("vm", "10.1.2.3", "localhost", "127.0.0.1", "::1")
    assert certificates.keep_fresh(at=NOW, machine=found)
    assert greet("10.1.2.3") == ""
    assert not certificates.keep_fresh(at=NOW, machine=found)


def test_no_server_certificate_outlives_its_authority() -> None:
    certificates.make(at=NOW)
    kept = certificates.make(at=NOW + timedelta(days=3500))
    assert kept.until <= kept.authority_until


def test_without_certificates_nothing_is_renewed_or_handed_out() -> None:
    assert certificates_kept() is None
    assert not certificates.keep_fresh(at=NOW)
    with pytest.raises(Unknown) as none:
        kept_files.authority_der()
    assert none.value.code == "no_authority"


@pytest.mark.parametrize(
    "name", ["", "two words", "-a.lan", "a..lan", "1.2.3", "http://x", "ü" * 9]
)
def test_what_is_no_host_name_is_refused(name: str) -> None:
    with pytest.raises(ToolingError) as refused:
        certificates.make(at=NOW, names=[name])
    assert refused.value.code == "bad_host_name"
    assert certificates_kept() is None


def test_a_broken_file_is_named() -> None:
    certificates.make(at=NOW)
    kept_files.authority_file().write_text("nonsense")
    with pytest.raises(Conflict) as refused:
        certificates.make(at=NOW)
    assert refused.value.code == "https_unreadable"


def test_the_authority_signs_servers_only_and_no_further_authority() -> None:
    certificates.make(at=NOW)
    authority = kept_files.authority_certificate()
    basic = authority.extensions.get_extension_for_class(x509.BasicConstraints)
    assert (basic.critical, basic.value.ca, basic.value.path_length) == (True, True, 0)
    key = authority.public_key()
    assert isinstance(key, ec.EllipticCurvePublicKey)
    assert isinstance(authority.signature_hash_algorithm, hashes.SHA256)
