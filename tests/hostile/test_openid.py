"""Sign-in by an identity provider, the whole way: a small provider of its own, Streamlit's own OpenID Connect, our gate."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

import httpx
import pytest
from joserfc import jwt
from joserfc.jwk import RSAKey

from ui.__main__ import read_openid
from ui.signin_serving import COOKIE, PAGE

ACCEPT = {"Accept": "text/html"}


class Provider:
    """An identity provider that vouches for whoever is set in `claims`, without asking."""

    def __init__(self) -> None:
        self.key = RSAKey.generate_key(2048, {"kid": "k1"})
        self.claims: dict[str, Any] = {}
        self.wanted: dict[str, dict[str, str]] = {}
        provider = self

        class Handler(BaseHTTPRequestHandler):
            def log_message(self, *_: Any) -> None:
                pass

            def answer(self, data: Any) -> None:
                body = json.dumps(data).encode()
                self.send_response(200)
                self.send_header("Content-Type", "application/json")
                self.send_header("Content-Length", str(len(body)))
                self.end_headers()
                self.wfile.write(body)

            def do_GET(self) -> None:
                at = urlsplit(self.path)
                if at.path == "/.well-known/openid-configuration":
                    self.answer(provider.metadata())
                elif at.path == "/keys":
                    self.answer({"keys": [provider.key.as_dict(private=False)]})
                elif at.path == "/authorize":
                    asked = {k: v[0] for k, v in parse_qs(at.query).items()}
                    provider.wanted["code"] = asked
                    self.send_response(302)
                    back = urlencode({"code": "code", "state": asked["state"]})
                    self.send_header("Location", f"{asked['redirect_uri']}?{back}")
                    self.end_headers()
                else:
                    self.send_error(404)

            def do_POST(self) -> None:
                self.rfile.read(int(self.headers["Content-Length"]))
                self.answer(provider.tokens())

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self.server.server_port}"
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    def metadata(self) -> dict[str, Any]:
        """What a provider says of itself (OpenID Connect Discovery 1.0, section 3)."""
        return {
            "issuer": self.url,
            "authorization_endpoint": f"{self.url}/authorize",
            "token_endpoint": f"{self.url}/token",
            "jwks_uri": f"{self.url}/keys",
            "response_types_supported": ["code"],
            "subject_types_supported": ["public"],
            "id_token_signing_alg_values_supported": ["RS256"],
        }

    def tokens(self) -> dict[str, Any]:
        """Access and identity token for the code."""
        now, asked = int(time.time()), self.wanted["code"]
        claims = {"iss": self.url, "sub": "42", "aud": asked["client_id"], "iat": now, "exp": now + 600,
                  "nonce": asked.get("nonce", ""), **self.claims}  # fmt: skip
        token = jwt.encode({"alg": "RS256", "kid": "k1"}, claims, self.key)
        return {"access_token": "x", "token_type": "Bearer", "expires_in": 600, "id_token": token}


@pytest.fixture(scope="module")
def provider() -> Iterator[Provider]:
    made = Provider()
    yield made
    made.server.shutdown()


@pytest.fixture(scope="module")
def app(provider: Provider, tmp_path_factory: pytest.TempPathFactory, served_class: Any) -> Iterator[Any]:
    """The app for others, with the provider, and one user whom the provider vouches for."""
    folder = tmp_path_factory.mktemp("openid")
    made = served_class(folder, "--address", "0.0.0.0", "--unencrypted", "--openid", str(folder / "openid.toml"))
    (folder / "openid.toml").write_text(
        f'[auth]\nredirect_uri = "{made.url}/oauth2callback"\ncookie_secret = "{"s" * 40}"\nclient_id = "chiller"\n'
        f'client_secret = "secret"\nserver_metadata_url = "{provider.url}/.well-known/openid-configuration"\n'
    )
    made.store.users.add("bo@example.org", "technician", shown="Bo Example", by="test")
    made.store.users.add("kit", "keeper", password="four walls and a roof", by="test")
    made.start()
    yield made
    told = made.stop()
    made.store.close()
    assert "Traceback" not in told, told


def go_in(app: Any) -> tuple[httpx.Client, httpx.Response]:
    """Follow the link of the sign-in page to the end."""
    client = httpx.Client(follow_redirects=True, headers=ACCEPT, timeout=30)
    page = client.get(app.url + PAGE).text
    link = page.partition("class='other' href='")[2].partition("'")[0].replace("&amp;", "&")
    assert link.startswith("/auth/login?provider=")
    return client, client.get(app.url + link)


def test_whoever_is_known_comes_in_once_for_all(app: Any, provider: Provider) -> None:
    provider.claims = {"email": "Bo@Example.org", "email_verified": True, "name": "Somebody Else"}
    client, landed = go_in(app)
    assert landed.status_code == 200 and str(landed.url) == f"{app.url}/"
    token = client.cookies.get(COOKIE)
    person = app.store.users.person_of(token)
    assert person is not None and (person.name, person.shown, person.role) == (
        "bo@example.org",
        "Bo Example",
        "technician",
    )
    assert not [name for name in client.cookies if name.startswith("_streamlit_user")], (
        "the provider's word is used once"
    )
    app.store.users.sign_out(token)
    time.sleep(2.2)
    assert "sign-in" in str(client.get(app.url).url)


@pytest.mark.parametrize(
    ("claims", "told"),
    [
        ({"email": "cy@example.org", "email_verified": True}, "not known here"),
        ({"email": "bo@example.org", "email_verified": False}, "not verified"),
        ({"email": "bo@example.org"}, "not verified"),
        ({"email": "bo@example.org", "email_verified": "true"}, "not verified"),
        ({"email": ["bo@example.org"], "email_verified": True}, "not verified"),
        ({"email": "kit", "email_verified": True}, "not known here"),
        ({}, "not verified"),
    ],
)
def test_nobody_else_does(app: Any, provider: Provider, claims: dict[str, Any], told: str) -> None:
    provider.claims = claims
    client, landed = go_in(app)
    assert landed.status_code == 403 and told in landed.text
    assert COOKIE not in client.cookies


def test_a_word_that_the_provider_did_not_give(app: Any) -> None:
    """A cookie of somebody's own making, and one signed with another secret, are no word of the provider."""
    from streamlit.web.server.starlette.starlette_app_utils import create_signed_value

    said = json.dumps({"origin": app.url, "is_logged_in": True, "email": "bo@example.org", "email_verified": True})
    for value in ("x", said, create_signed_value("t" * 40, "_streamlit_user", said).decode()):
        reply = httpx.get(app.url, headers={**ACCEPT, "Cookie": f"_streamlit_user={value}"})
        assert reply.status_code == 403 or reply.headers["location"] == PAGE
        assert COOKIE not in reply.headers.get("set-cookie", "")


@pytest.mark.parametrize(
    "text", ["", "[auth]\n", "not toml [", '[auth]\nredirect_uri = "x"\ncookie_secret = "short"\nclient_id = "a"\n'
             'client_secret = "b"\nserver_metadata_url = "c"\n']
)  # fmt: skip
def test_a_file_of_the_provider_that_is_not_complete(text: str, tmp_path: Path) -> None:
    path = tmp_path / "openid.toml"
    path.write_text(text)
    with pytest.raises(ValueError, match="identity provider") as caught:
        read_openid(path)
    assert len(str(caught.value).splitlines()) == 1
