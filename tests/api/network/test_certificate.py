"""The certificate: read with its key, again when the files change, and what is said of a bad one."""

from __future__ import annotations

import errno
import re
import shutil
import ssl
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import trustme

from api.network.certificate import CertificateError, CertificateFiles, read_certificate
from config.models.network import NetworkSettings

CA = trustme.CA()


def issue(folder, name="garden", **more):
    """Have a certificate made, with its key beside it."""
    made = CA.issue_cert("garden.example.net", "127.0.0.2", **more)
    made.private_key_pem.write_to_path(folder / f"{name}.key")
    (folder / f"{name}.pem").write_bytes(b"".join(each.bytes() for each in made.cert_chain_pems))
    return folder / f"{name}.pem", folder / f"{name}.key"


def test_what_a_certificate_says_of_itself(tmp_path):
    """Names and dates are those in the certificate, as OpenSSL's own program prints them."""
    path, key = issue(tmp_path, not_after=datetime(2030, 1, 2, 3, 4, 5))  # noqa: DTZ001 - as trustme takes it
    certificate = read_certificate(path, key)
    assert certificate.names == ("garden.example.net",)
    printed = subprocess.run(
        ["openssl", "x509", "-in", path, "-noout", "-enddate"], capture_output=True, text=True, check=True
    ).stdout
    assert printed.strip() == "notAfter=Jan  2 03:04:05 2030 GMT"
    assert certificate.ends_utc == datetime(2030, 1, 2, 3, 4, 5, tzinfo=UTC)


@pytest.mark.parametrize("kind", [trustme.KeyType.RSA, trustme.KeyType.ECDSA])
def test_a_client_that_trusts_its_maker_shakes_hands(tmp_path, kind):
    """What was read serves TLS to a client that checks everything, by HTTP/1.1 alone."""
    certificate = read_certificate(*issue(tmp_path, key_type=kind))
    client = ssl.create_default_context()
    CA.configure_trust(client)
    client.set_alpn_protocols(["h2", "http/1.1"])
    to_server, to_client = ssl.MemoryBIO(), ssl.MemoryBIO()
    ours = certificate.context.wrap_bio(to_server, to_client, server_side=True)
    theirs = client.wrap_bio(to_client, to_server, server_hostname="garden.example.net")
    for _ in range(4):
        for end in (theirs, ours):
            try:
                end.do_handshake()
            except ssl.SSLWantReadError:
                continue
    assert theirs.selected_alpn_protocol() == "http/1.1"
    assert theirs.version() == "TLSv1.3"


def test_one_file_may_hold_both(tmp_path):
    """A key in the file of the certificate need not be named."""
    path, key = issue(tmp_path)
    path.write_bytes(key.read_bytes() + path.read_bytes())
    files = CertificateFiles.of(NetworkSettings(certificate=str(path)))
    files.look()
    assert files.fault is None
    assert files.certificate is not None
    assert CertificateFiles.of(NetworkSettings()) is None


def lock(_path, key):
    subprocess.run(
        ["openssl", "ec", "-in", key, "-aes128", "-passout", "pass:x", "-out", key],
        capture_output=True,
        check=True,
    )


def weaken(path, key):
    subprocess.run(
        [
            "openssl",
            "req",
            "-x509",
            "-newkey",
            "rsa:512",
            "-nodes",
            "-subj",
            "/CN=x",
            "-keyout",
            key,
            "-out",
            path,
        ],
        capture_output=True,
        check=True,
    )


def restrict(path, key):
    """Have a certificate that is for clients only."""
    usage = "extendedKeyUsage=clientAuth"
    words = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-subj", "/CN=x", "-addext", usage]
    subprocess.run([*words, "-keyout", key, "-out", path], capture_output=True, check=True)


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (
            lambda path, _: path.unlink(),
            "garden.pem: no such file or directory; write the path of a file that",
        ),
        (lambda _, key: key.unlink(), "garden.key: no such file or directory"),
        (lambda path, _: path.write_text(""), "garden.pem: has no certificate in PEM form; it begins with"),
        (lambda path, key: path.write_bytes(key.read_bytes()), "garden.pem: has no certificate in PEM form"),
        (lambda path, key: key.write_bytes(path.read_bytes()), "garden.key: has no private key in PEM form"),
        (lambda path, _: path.write_bytes(path.read_bytes()[:300]), "is damaged; copy it there again"),
        (
            lambda path, _: issue(path.parent, "other")[1].replace(path.parent / "garden.key"),
            "is not the key of",
        ),
        (lock, "garden.key: the key has a password; write it without one"),
        (weaken, "garden.pem: cannot be used (ee key too small); have a new one made"),
        (restrict, "garden.pem: cannot be used (unsuitable certificate purpose); have a new one made"),
    ],
)
@pytest.mark.skipif(shutil.which("openssl") is None, reason="no openssl here")
def test_what_is_wrong_is_said_with_the_file_and_a_remedy(tmp_path, spoil, words):
    """A missing, damaged, foreign, locked or unfit file is named, with what to do; nobody is asked."""
    path, key = issue(tmp_path)
    spoil(path, key)
    with pytest.raises(CertificateError, match=re.escape(words)):
        read_certificate(path, key)


def test_a_key_that_may_not_be_read(tmp_path, monkeypatch):
    """Where rights are missing, the message says whose."""
    path, key = issue(tmp_path)

    def refuse(_path):
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", refuse)  # root reads everything
    with pytest.raises(CertificateError, match="the user that Leerie runs as"):
        read_certificate(path, key)


def test_dates_are_judged_by_the_time_that_is_given(tmp_path):
    """A certificate that has expired, or is not valid yet, is read, and its fault told by the date."""
    begins, ends = datetime(2026, 5, 1), datetime(2026, 8, 1)  # noqa: DTZ001 - as trustme takes it
    certificate = read_certificate(*issue(tmp_path, not_before=begins, not_after=ends))
    assert certificate.fault_at(datetime(2026, 7, 31, 23, 59, 59, tzinfo=UTC)) is None
    expired = certificate.fault_at(datetime(2026, 8, 1, tzinfo=UTC))
    assert expired == "the certificate expired on 2026-08-01; put a new one in its place"
    early = certificate.fault_at(datetime(2026, 5, 1, tzinfo=UTC) - timedelta(seconds=1))
    assert early == "the certificate is valid from 2026-05-01 on; check the clock"


def test_new_files_are_read_once_both_are_there(tmp_path):
    """A renewal is read once its files are still; half of one, or a bad one, leaves the old one in use."""
    path, key = issue(tmp_path)
    files = CertificateFiles(path, key)
    files.look()
    first = files.certificate
    files.look()
    assert files.certificate is first
    new_path, new_key = issue(tmp_path, "new")
    new_path.replace(path)
    files.look()  # seen for the first time
    assert (files.certificate, files.fault) == (first, None)
    new_key.replace(key)
    files.look()
    assert (files.certificate, files.fault) == (first, None)
    files.look()
    assert files.certificate not in (first, None)
    second = files.certificate
    key.unlink()
    files.look()
    files.look()
    assert files.certificate is second
    assert "no such file" in files.fault
    assert files.fault.endswith("the one before is served until then")
    issue(tmp_path)
    files.look()
    files.look()
    assert files.fault is None
    assert files.certificate not in (second, None)
