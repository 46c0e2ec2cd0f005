"""The sample for nginx, with a real nginx in front of a real server."""

import os
import shutil
import ssl
import subprocess
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec

from tests.shopdesk.serving.conftest import (
    ROOT,
    Visitor,
    free_port,
    request,
    running,
    wait_until,
)

pytestmark = pytest.mark.once

HOST = "shop.example"
TOKEN = "TOKENcanaryTOKEN" * 2
PROGRAM = shutil.which("nginx", path=f"{os.environ['PATH']}:/usr/sbin")
AROUND = """
daemon off;
pid {folder}/nginx.pid;
error_log {folder}/start.log;
{user}
events {{}}
http {{
    client_body_temp_path {folder}/body;
    proxy_temp_path {folder}/proxy;
    fastcgi_temp_path {folder}/fastcgi;
    uwsgi_temp_path {folder}/uwsgi;
    scgi_temp_path {folder}/scgi;
    include {folder}/shopdesk.conf;
}}
"""


def write_certificate(folder):
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, HOST)])
    now = datetime.now(UTC)
    made = (
        x509.CertificateBuilder(name, name, key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=1))
        .sign(key, hashes.SHA256())
    )
    pem = serialization.Encoding.PEM
    (folder / "shop.crt").write_bytes(made.public_bytes(pem))
    (folder / "shop.key").write_bytes(
        key.private_bytes(
            pem,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )


def write_config(folder, *, http, https, upstream):
    """Write the sample, with only its addresses and files replaced."""
    sample = (ROOT / "deploy" / "nginx.conf").read_text()
    for old, new in {
        "listen 80": f"listen 127.0.0.1:{http}",
        "listen 443": f"listen 127.0.0.1:{https}",
        "127.0.0.1:8000": f"127.0.0.1:{upstream}",
        "/etc/ssl/shop.example.crt": f"{folder}/shop.crt",
        "/etc/ssl/private/shop.example.key": f"{folder}/shop.key",
        "/var/log/nginx": str(folder),
    }.items():
        assert old in sample
        sample = sample.replace(old, new)
    (folder / "shopdesk.conf").write_text(sample)
    user = "user root;" if os.getuid() == 0 else ""
    (folder / "nginx.conf").write_text(AROUND.format(folder=folder, user=user))


@pytest.fixture(scope="module")
def shop(shop_file, tmp_path_factory):
    """A shop behind nginx: its server, both ports, and the folder of the logs."""
    if PROGRAM is None:
        pytest.skip("nginx is not installed here (Debian: nginx-light)")
    folder = tmp_path_factory.mktemp("nginx")
    write_certificate(folder)
    http, https = free_port(), free_port()
    behind = {"HTTPS": "1", "PROXIES": "1", "ALLOWED_HOSTS": f"{HOST},127.0.0.1"}
    with running(shop_file, tmp_path_factory.mktemp("shop"), **behind) as server:
        write_config(folder, http=http, https=https, upstream=server.port)
        nginx = subprocess.Popen(
            [PROGRAM, "-p", folder, "-e", folder / "start.log"]
            + ["-c", folder / "nginx.conf"]
        )
        try:
            wait_until(lambda: nginx.poll() is not None or answers(http))
            assert nginx.poll() is None, (folder / "start.log").read_text()
            yield SimpleNamespace(server=server, http=http, https=https, folder=folder)
        finally:
            nginx.terminate()
            nginx.wait()


def answers(port):
    try:
        return request(port, "GET", "/", headers={"Host": HOST}).status == 301
    except OSError:
        return False


def trusting():
    context = ssl.create_default_context()
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    return context


def get(shop, path, *, method="GET", body=None, source="127.0.0.1", **headers):
    return request(
        shop.https,
        method,
        path,
        headers={"Host": HOST} | headers,
        body=body,
        context=trusting(),
        source=source,
    )


def test_http_leads_to_https_and_browsers_keep_to_it(shop):
    answer = request(shop.http, "GET", "/find/", headers={"Host": HOST})
    assert answer.status == 301
    assert answer.headers["Location"] == f"https://{HOST}/find/"
    page = get(shop, "/staff/sign-in/")
    assert page.status == 200
    assert page.headers.get_all("Strict-Transport-Security") == [
        "max-age=31536000; includeSubDomains"
    ]
    assert not any(c.isdigit() for c in page.headers["Server"])
    # What watches the server asks it directly, by HTTP.
    assert shop.server.get("/health/").text == "ok\n"
    assert shop.server.get("/", Host=HOST).status == 301


def test_one_signs_in_with_cookies_that_only_https_sends(shop):
    visitor = Visitor(shop.https, context=trusting(), Host=HOST)
    assert visitor.sign_in().status == 302
    assert set(visitor.cookies) >= {"__Host-sid", "__Host-csrf"}
    assert visitor.get("/").status == 200


def test_visitors_are_told_apart_by_their_real_address(shop):
    def ask(source, **headers):
        return get(shop, "/q/unknown/", source=source, **headers).status

    assert [ask("127.0.0.2") for _ in range(12)][-1] == 429
    assert ask("127.0.0.2", **{"X-Forwarded-For": "203.0.113.5"}) == 429
    assert ask("127.0.0.3") == 404


def test_too_large_a_body_is_refused_and_keeps_to_https(shop):
    answer = get(shop, "/staff/sign-in/", method="POST", body=b"x" * 5_300_000)
    assert answer.status == 413
    assert answer.headers["Strict-Transport-Security"]


def test_other_names_get_no_page(shop):
    with pytest.raises(OSError):
        request(shop.http, "GET", "/", headers={"Host": "evil.example"})
    answer = get(shop, "/", Host="evil.example")
    assert answer.status == 400 and "ALLOWED_HOSTS" in answer.text


# The last one, as it stops the server.
def test_no_log_holds_a_token_or_a_search_even_if_the_shop_is_away(shop):
    link = f"q/{TOKEN}"
    paths = [f"/{link}/", f"//{link}/?a=1", f"/{link}/quote.pdf", f"/Q/{TOKEN}"]
    paths += ["/find/?q=Canary"]
    for path in paths:
        get(shop, path)
        request(shop.http, "GET", path, headers={"Host": HOST})
    get(shop, f"/q/{TOKEN}/", method="POST", body=b"x" * 5_300_000)
    shop.server.process.terminate()
    shop.server.process.wait(timeout=35)
    away = get(shop, f"/q/{TOKEN}/")
    assert away.status == 503 and away.headers["Retry-After"] == "10"
    assert "not available" in away.text
    logs = {path.name: path.read_text() for path in shop.folder.glob("*.log")}
    assert logs["shopdesk.log"].count("/q/- ") >= 2 * len(paths) - 2
    assert "GET /find/ 302" in logs["shopdesk.log"]
    everything = "".join(logs.values()) + shop.server.log
    assert "canary" not in everything.lower()
