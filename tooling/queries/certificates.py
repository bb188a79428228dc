"""What the shop's own certificate authority and its server's certificate say; read from files.

``DATA_DIR/https`` holds ``authority.pem`` (key and certificate), ``authority.crt`` (the
certificate alone, to hand out) and ``server.pem`` (key, certificate, the authority's). Files with
a key are readable by their owner only.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from ipaddress import ip_address, ip_network
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.serialization import Encoding
from cryptography.x509.oid import NameOID
from django.conf import settings
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, Unknown

BEGIN = b"-----BEGIN CERTIFICATE-----"
LOOPBACK = ("localhost", "127.0.0.1", "::1")


@dataclass(frozen=True)
class Kept:
    """The certificates of this installation. ``names`` are host names, then addresses.

    ``fingerprint`` is the authority's SHA-256 in pairs, as a phone shows it.
    """

    names: tuple[str, ...]
    until: datetime
    authority_name: str
    authority_until: datetime
    fingerprint: str

    @property
    def names_for_others(self) -> tuple[str, ...]:
        """What other machines may call this one."""
        return tuple(name for name in self.names if name not in LOOPBACK)


def https_folder() -> Path:
    return Path(settings.DATA_DIR) / "https"


def authority_file() -> Path:
    return https_folder() / "authority.pem"


def handed_out_file() -> Path:
    """The authority's certificate without its key."""
    return https_folder() / "authority.crt"


def server_file() -> Path:
    return https_folder() / "server.pem"


def is_kept() -> bool:
    """Whether the server has a certificate to show."""
    return server_file().is_file()


def certificates_kept() -> Kept | None:
    """What is kept, or None. Raises Conflict ``https_unreadable`` for files that hold none."""
    if not is_kept():
        return None
    server, authority = read_certificates(server_file())[0], authority_certificate()
    return Kept(
        names=names_in(server),
        until=server.not_valid_after_utc,
        authority_name=str(authority.subject.get_attributes_for_oid(NameOID.COMMON_NAME)[0].value),
        authority_until=authority.not_valid_after_utc,
        fingerprint=authority.fingerprint(hashes.SHA256()).hex(":").upper(),
    )


def authority_der() -> bytes:
    """The authority's certificate as phones take it. Raises Unknown ``no_authority``."""
    return authority_certificate().public_bytes(Encoding.DER)


def authority_certificate_pem() -> bytes:
    """The same as text. Raises Unknown ``no_authority``."""
    return authority_certificate().public_bytes(Encoding.PEM)


def authority_certificate() -> x509.Certificate:
    """The one that signed the server's: the last of its chain. Raises Unknown ``no_authority``."""
    if not is_kept():
        raise Unknown(
            "no_authority",
            _("This installation has no certificate authority yet. Whoever runs the server makes "
              "one with: python3 manage.py https"),
        )  # fmt: skip
    return read_certificates(server_file())[-1]


def read_certificates(path: Path) -> list[x509.Certificate]:
    """Every certificate in a PEM file, in order. Raises Conflict ``https_unreadable``."""
    try:
        data = path.read_bytes()
        return x509.load_pem_x509_certificates(data[data.index(BEGIN) :])
    except (OSError, ValueError) as error:
        raise unreadable(path) from error


def unreadable(path: Path) -> Conflict:
    """A file of certificates that is no such file any more."""
    return Conflict(
        "https_unreadable",
        _("{path} holds no certificate that can be read. Put it back from a copy of your own "
          "(backups leave it out), or make all anew with: python3 manage.py https --new-authority"),
        path=path,
    )  # fmt: skip


def names_in(certificate: x509.Certificate) -> tuple[str, ...]:
    """The names and addresses that a certificate speaks for."""
    said = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    addresses = [str(each) for each in said.get_values_for_type(x509.IPAddress)]
    return (*said.get_values_for_type(x509.DNSName), *addresses)


def allows(authority: x509.Certificate, name: str) -> bool:
    """Whether the authority may speak for this name or address: its name constraints, RFC 5280
    4.2.1.10."""
    limits = authority.extensions.get_extension_for_class(x509.NameConstraints).value
    for each in limits.permitted_subtrees or ():
        if isinstance(each, x509.DNSName) and not is_address(name):
            if name == each.value or name.endswith("." + each.value):
                return True
        elif isinstance(each, x509.IPAddress) and is_address(name):
            network = ip_network(each.value)
            if ip_address(name).version == network.version and ip_address(name) in network:
                return True
    return False


def is_address(name: str) -> bool:
    try:
        ip_address(name)
    except ValueError:
        return False
    return True
