"""The certificate for https: read from the user's files, again when they change, and looked at for faults."""

import ssl
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from config.errors import LeerieError
from config.models.network import NetworkSettings
from config.phrase import Phrase

# X509_V_FLAG_NO_CHECK_TIME of openssl/x509_vfy.h: whether the board's clock is right is not OpenSSL's to say.
_NO_CHECK_TIME = 0x200000


class CertificateError(LeerieError):
    """A certificate or key that cannot be used; says which file, why, and what to do."""


@dataclass(frozen=True, kw_only=True)
class Certificate:
    """A certificate with its key, ready to serve, and what it says of itself."""

    context: ssl.SSLContext
    begins_utc: datetime
    ends_utc: datetime
    names: tuple[str, ...]

    def fault_at(self, now_utc: datetime) -> str | None:
        """Say why nobody should accept it now; None where all is well."""
        if now_utc >= self.ends_utc:
            return Phrase(
                "the certificate expired on {day}; put a new one in its place",
                day=f"{self.ends_utc:%Y-%m-%d}",
            )
        if now_utc < self.begins_utc:
            return Phrase(
                "the certificate is valid from {day} on; check the clock", day=f"{self.begins_utc:%Y-%m-%d}"
            )
        return None


def read_certificate(certificate: Path, key: Path) -> Certificate:
    """Read a certificate, those above it, and its key from PEM files.

    Raises:
        CertificateError: a file cannot be read or used, or the two do not belong together.
    """
    for path, kind in ((certificate, "CERTIFICATE"), (key, "PRIVATE KEY")):
        _look_into(path, kind)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.set_alpn_protocols(["http/1.1"])
    try:
        context.load_cert_chain(certificate, key, password=_no_password)
        seen = _see_as_client(context, certificate)
        begins_utc, ends_utc = (_utc_of(seen[name]) for name in ("notBefore", "notAfter"))
    except _PasswordError as error:
        words = Phrase("{key}: the key has a password; write it without one", key=str(key))
        raise CertificateError(words) from error
    except (ssl.SSLError, ValueError, KeyError) as error:
        raise CertificateError(_explain(error, certificate, key)) from error
    names = tuple(str(value) for kind, value in seen.get("subjectAltName", ()) if kind == "DNS")
    return Certificate(context=context, begins_utc=begins_utc, ends_utc=ends_utc, names=names)


class CertificateFiles:
    """The files of a certificate, read once and again whenever they have changed.

    Attributes:
        certificate: the last good one; None where there was none yet.
        fault: what is wrong with the files as they are now; None where nothing is.
    """

    def __init__(self, certificate: Path, key: Path) -> None:
        self.certificate: Certificate | None = None
        self.fault: str | None = None
        self._paths = certificate, key
        self._read_as: object = None
        self._seen_as: object = None

    @classmethod
    def of(cls, settings: NetworkSettings) -> "CertificateFiles | None":
        """Make it from the site file; None where it names none."""
        if settings.certificate is None:
            return None
        return cls(Path(settings.certificate), Path(settings.key or settings.certificate))

    def look(self) -> None:
        """Read the files where they are others than before, and have been so since the last look."""
        now = tuple(map(_signature, self._paths))
        is_first, is_still = self._seen_as is None, self._seen_as == now
        self._seen_as = now
        if now == self._read_as or not (is_first or is_still):
            return
        self._read_as = now
        try:
            self.certificate, self.fault = read_certificate(*self._paths), None
        except CertificateError as error:
            (self.fault,) = error.args
            if self.certificate is not None:
                self.fault = Phrase("{fault}; the one before is served until then", fault=self.fault)


class _PasswordError(Exception):
    """The key has a password, and nobody to ask for it."""


def _look_into(path: Path, kind: str) -> None:
    try:
        content = path.read_bytes()
    except OSError as error:
        told: dict[str, Any] = {"path": str(path), "reason": (error.strerror or str(error)).lower()}
        words = Phrase("{path}: {reason}; write the path of a file that is there", **told)
        if isinstance(error, PermissionError):
            words = Phrase("{path}: {reason}; have it read by the user that Leerie runs as", **told)
        raise CertificateError(words) from error
    # RFC 7468, sections 5 and 10; “EC PRIVATE KEY” and the like are older.
    if f"{kind}-----".encode() not in content:
        told = {"path": str(path), "begins": f"-----BEGIN {kind}-----"}
        words = Phrase("{path}: has no certificate in PEM form; it begins with {begins}", **told)
        if kind != "CERTIFICATE":
            words = Phrase("{path}: has no private key in PEM form; it begins with {begins}", **told)
        raise CertificateError(words)


def _no_password() -> str:
    raise _PasswordError


def _signature(path: Path) -> object:
    try:
        found = path.stat()
    except OSError as error:
        return error.errno
    return found.st_ino, found.st_size, found.st_mtime_ns


def _see_as_client(server: ssl.SSLContext, certificate: Path) -> dict[str, Any]:
    """Shake hands with ourselves, in memory: what a client would see, whoever has signed it."""
    client = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    client.check_hostname = False
    client.verify_flags |= ssl.VerifyFlags(_NO_CHECK_TIME) | ssl.VERIFY_X509_PARTIAL_CHAIN
    client.load_verify_locations(certificate)
    to_server, to_client = ssl.MemoryBIO(), ssl.MemoryBIO()
    ends = client.wrap_bio(to_client, to_server), server.wrap_bio(to_server, to_client, server_side=True)
    done: set[ssl.SSLObject] = set()
    for _ in range(8):
        for end in ends:
            try:
                end.do_handshake()
            except ssl.SSLWantReadError:
                continue
            done.add(end)
    return dict(ends[0].getpeercert() or {})


def _utc_of(text: object) -> datetime:
    return datetime.fromtimestamp(ssl.cert_time_to_seconds(str(text)), UTC)


def _explain(error: Exception, certificate: Path, key: Path) -> str:
    reason = getattr(error, "reason", None) or str(error)
    files: dict[str, Any] = {"certificate": str(certificate), "key": str(key)}
    if reason == "KEY_VALUES_MISMATCH":
        return Phrase("{key}: is not the key of {certificate}; give the two that were made together", **files)
    if "PEM lib" in str(error):
        return Phrase("{certificate} or {key}: is damaged; copy it there again", **files)
    reason = str(getattr(error, "verify_message", None) or reason).lower().replace("_", " ")
    return Phrase("{certificate}: cannot be used ({reason}); have a new one made", **files, reason=reason)
