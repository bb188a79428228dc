"""Makes the shop's own certificate authority and the server's certificate, and renews it.

A phone lets pages scan off line only from a server whose certificate it trusts. The authority
speaks for names of local networks and for those it was made with, nothing else, so that whoever
takes its key can imitate no other site.
"""

from __future__ import annotations

import os
import re
import socket
from collections.abc import Iterable, Sequence
from contextlib import suppress
from datetime import datetime, timedelta
from ipaddress import ip_address, ip_network
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    load_pem_private_key,
)
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.queries.certificates import (
    LOOPBACK,
    Kept,
    allows,
    authority_file,
    certificates_kept,
    handed_out_file,
    https_folder,
    is_address,
    is_kept,
    names_in,
    read_certificates,
    server_file,
    unreadable,
)

AUTHORITY_LASTS = timedelta(days=3653)
SERVER_LASTS = timedelta(days=397)
"""Browsers refuse server certificates of more than 398 days (Apple: 825 for private ones)."""
RENEWED_BEFORE = timedelta(days=30)
CLOCKS_DIFFER = timedelta(days=1)
"""Valid from so long before it was made: a phone's clock may be behind."""

LOCAL_NAMES = ("localhost", "local", "lan", "internal", "home.arpa")
LOCAL_NETWORKS = (
    "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "127.0.0.0/8",
    "fc00::/7", "fe80::/10", "::1/128",
)  # fmt: skip
"""RFC 1918, 3927, 4193, 4291; names by RFC 6761, 6762, 8375 and common practice."""
_NAME = re.compile(r"(?!-)[a-z0-9-]{1,63}(?<!-)(\.(?!-)[a-z0-9-]{1,63}(?<!-))*")


def make(
    *,
    at: datetime,
    names: Iterable[str] = (),
    new_authority: bool = False,
    machine: Sequence[str] | None = None,
) -> Kept:
    """The server's certificate for this machine, ``names`` and the names it had; the authority
    is kept when there is one. ``machine``: what it is called, when that is known already.

    Raises ToolingError ``bad_host_name``, Conflict ``name_outside_authority`` for a name that the
    kept authority may not speak for, ``https_unreadable``.
    """
    asked = tuple(_checked(name) for name in names)
    machine = this_machine() if machine is None else machine
    https_folder().mkdir(mode=0o700, exist_ok=True)
    if new_authority or not authority_file().is_file():
        had = () if new_authority else _names_before()
        wanted = _once((*asked, *had, *machine))
        _make_authority(at=at, names=wanted)
        return _make_server(at=at, names=wanted)
    authority = read_certificates(authority_file())[0]
    for name in asked:
        if not allows(authority, name):
            raise _outside(name)
    own = [name for name in machine if allows(authority, name)]
    return _make_server(at=at, names=_once((*asked, *_names_before(), *own)))


def keep_fresh(*, at: datetime, machine: Sequence[str] | None = None) -> bool:
    """Renew the server's certificate when it ends soon or this machine has a new name or address;
    says whether it did. Without certificates nothing is made."""
    kept = certificates_kept()
    if kept is None or not authority_file().is_file():
        return False
    authority = read_certificates(authority_file())[0]
    machine = this_machine() if machine is None else machine
    own = {name for name in machine if allows(authority, name)}
    if kept.until - at > RENEWED_BEFORE and own <= set(kept.names):
        return False
    make(at=at, machine=machine)
    return True


def this_machine() -> tuple[str, ...]:
    """The names and addresses under which others on the network may reach this machine."""
    host = socket.gethostname().lower()
    names = [host, f"{host.partition('.')[0]}.local"] if _NAME.fullmatch(host) else []
    return _once((*names, *_own_addresses(), *LOOPBACK))


def _own_addresses() -> list[str]:
    """Those of the host's name, and the one that the network is reached from. Nothing is sent."""
    found: list[str] = []
    with suppress(OSError):
        found += [str(each[4][0]) for each in socket.getaddrinfo(socket.gethostname(), None)]
    for family, other in ((socket.AF_INET, "192.0.2.1"), (socket.AF_INET6, "2001:db8::1")):
        with suppress(OSError), socket.socket(family, socket.SOCK_DGRAM) as probe:
            probe.connect((other, 9))
            found.append(str(probe.getsockname()[0]))
    plain = [str(ip_address(each.partition("%")[0])) for each in found]
    return [each for each in _once(plain) if not ip_address(each).is_loopback]


def _checked(name: str) -> str:
    """Lower case, without a final dot. Raises ``bad_host_name``."""
    plain = name.strip().lower().rstrip(".")
    if is_address(plain):
        return str(ip_address(plain))
    if len(plain) > 253 or not _NAME.fullmatch(plain) or plain.replace(".", "").isdigit():
        raise ToolingError(
            "bad_host_name",
            _("“{name}” is no host name or address. Write such as tools.lan or 192.168.1.20."),
            name=name[:60],
        )
    return plain


def _outside(name: str) -> Conflict:
    return Conflict(
        "name_outside_authority",
        _("The shop's certificate authority may not speak for {name}: it was made for other "
          "names. Make a new one with --new-authority; every phone then has to be given it."),
        name=name,
    )  # fmt: skip


def _names_before() -> tuple[str, ...]:
    return names_in(read_certificates(server_file())[0]) if is_kept() else ()


def _once(names: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(names))


def _make_authority(*, at: datetime, names: Sequence[str]) -> None:
    key = ec.generate_private_key(ec.SECP256R1())
    subject = _named(f"rollroom of {socket.gethostname()}, made {at:%Y-%m-%d}"[:64])
    key_id = x509.SubjectKeyIdentifier.from_public_key(key.public_key())
    limits = x509.NameConstraints([*_limits(names)], None)
    usage = _usage(signs_certificates=True)
    certificate = (
        _begun(subject, subject, key.public_key(), at, at + AUTHORITY_LASTS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(limits, critical=True)
        .add_extension(key_id, critical=False)
        .sign(key, hashes.SHA256())
    )
    public = certificate.public_bytes(Encoding.PEM)
    _write(authority_file(), _pem(key) + public, secret=True)
    _write(handed_out_file(), public, secret=False)


def _limits(names: Sequence[str]) -> list[x509.GeneralName]:
    """What the authority may speak for: local networks and names, and those it is made with."""
    networks = _once((*LOCAL_NETWORKS, *(n for n in names if is_address(n))))
    hosts = _once((*LOCAL_NAMES, *(n for n in names if not is_address(n))))
    return [*map(x509.DNSName, hosts), *(x509.IPAddress(ip_network(each)) for each in networks)]


def _make_server(*, at: datetime, names: Sequence[str]) -> Kept:
    authority, signing = _authority()
    key = ec.generate_private_key(ec.SECP256R1())
    said = [x509.IPAddress(ip_address(n)) if is_address(n) else x509.DNSName(n) for n in names]
    until = min(at + SERVER_LASTS, authority.not_valid_after_utc)
    by_key = x509.AuthorityKeyIdentifier.from_issuer_public_key(signing.public_key())
    key_id = x509.SubjectKeyIdentifier.from_public_key(key.public_key())
    serves = x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH])
    usage = _usage(signs_certificates=False)
    certificate = (
        _begun(_named("rollroom server"), authority.subject, key.public_key(), at, until)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(serves, critical=False)
        .add_extension(x509.SubjectAlternativeName(said), critical=False)
        .add_extension(by_key, critical=False)
        .add_extension(key_id, critical=False)
        .sign(signing, hashes.SHA256())
    )
    chain = certificate.public_bytes(Encoding.PEM) + authority.public_bytes(Encoding.PEM)
    _write(server_file(), _pem(key) + chain, secret=True)
    kept = certificates_kept()
    assert kept is not None
    return kept


def _authority() -> tuple[x509.Certificate, ec.EllipticCurvePrivateKey]:
    certificate = read_certificates(authority_file())[0]
    try:
        key = load_pem_private_key(authority_file().read_bytes(), password=None)
    except (OSError, ValueError) as error:
        raise unreadable(authority_file()) from error
    if not isinstance(key, ec.EllipticCurvePrivateKey):
        raise unreadable(authority_file())
    return certificate, key


def _begun(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePublicKey, at: datetime,
    until: datetime,
) -> x509.CertificateBuilder:  # fmt: skip
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key)
        .serial_number(x509.random_serial_number())
        .not_valid_before(at - CLOCKS_DIFFER)
        .not_valid_after(until - CLOCKS_DIFFER)
    )


def _named(name: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])


def _usage(*, signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        key_cert_sign=signs_certificates,
        crl_sign=signs_certificates,
        content_commitment=False, key_encipherment=False, data_encipherment=False,
        key_agreement=False, encipher_only=False, decipher_only=False,
    )  # fmt: skip


def _pem(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())


def _write(path: Path, data: bytes, *, secret: bool) -> None:
    """Whole or not at all; a secret is never readable by others, not even while it is written."""
    half = path.with_suffix(".new")
    half.unlink(missing_ok=True)
    handle = os.open(half, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600 if secret else 0o644)
    with os.fdopen(handle, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    half.replace(path)
