"""What strangers get: how to join, how to trust the laptop, and its certificate. Drawn here, so no script is needed."""

from __future__ import annotations

import hashlib
import plistlib
import uuid
from collections.abc import Iterable
from html import escape
from typing import Any

from flask import Response, request
from werkzeug.exceptions import NotFound

from coach.server.joining import Joining
from coach.words import Words, languages, load_words

FILES = frozenset({
    "css/tokens.css", "css/base.css", "css/pages.css", "css/join.css", "js/light.js", "js/joining.js",
    "vendor/b612-400.woff2", "vendor/b612-700.woff2", "icon.svg", "manifest.webmanifest",
})  # fmt: skip
"""What the help page is made of, and what a browser asks for by itself without saying who it is."""
PUBLIC = ("icons/", "pictures/")
"""The pictures of the program itself, which a phone's system fetches when the page is installed."""
PAGES = frozenset({"/join", "/trust", "/trust/log-capture-coach.crt", "/trust/log-capture-coach.mobileconfig"})
CRT = "application/x-x509-ca-cert"
PROFILE = "application/x-apple-aspen-config"


def is_public(path: str) -> bool:
    """Whether a stranger may have what is at `path` of the https door."""
    return path in PAGES or path.removeprefix("/") in FILES or path.removeprefix("/").startswith(PUBLIC)


class HelpPage:
    """The pages, drawn from the words.

    Args:
        plain: over plain http: nothing can be joined there, and no script is sent.
    """

    def __init__(self, joining: Joining, *, plain: bool) -> None:
        self._joining = joining
        self._plain = plain

    def answer(self, path: str) -> Response:
        """What is at `path`. Raises werkzeug's NotFound."""
        authority = self._joining.certificates.authority
        if path == "/trust/log-capture-coach.crt":
            return _file(authority.der, CRT, "log-capture-coach.crt")
        if path == "/trust/log-capture-coach.mobileconfig":
            return _file(_profile(authority.der, self._title()), PROFILE, "log-capture-coach.mobileconfig")
        words = _words()
        if path == "/trust":
            return self._page(words, words("joining.trust.title"), self._trust(words))
        if path == "/join" or (path == "/" and self._plain):
            return self._page(words, words("joining.phone.title"), self._join(words))
        raise NotFound

    def _title(self) -> str:
        return self._joining.certificates.authority.title

    def _page(self, words: Words, title: str, body: str) -> Response:
        script = "" if self._plain else '<script type="module" src="/js/joining.js"></script>\n'
        return Response(
            f'<!doctype html>\n<html lang="{words.language}" data-light="day">\n<head>\n<meta charset="utf-8">\n'
            '<meta name="viewport" content="width=device-width, initial-scale=1, viewport-fit=cover">\n'
            f"<title>{escape(title)} – {escape(words('page.car.name'))}</title>\n"
            '<script src="/js/light.js"></script>\n'
            '<link rel="preload" href="/vendor/b612-700.woff2" as="font" type="font/woff2" crossorigin>\n'
            '<link rel="icon" href="/icon.svg" type="image/svg+xml">\n'
            + "".join(
                f'<link rel="stylesheet" href="/css/{name}.css">\n' for name in ("tokens", "base", "pages", "join")
            )
            + f"{script}</head>\n<body>\n{body}\n</body>\n</html>\n",
            mimetype="text/html",
        )

    def _join(self, words: Words) -> str:
        say = _say(words, "joining.phone")
        steps = _steps([(say(k), say(f"{k}_text")) for k in ("scan", "trust", "sound")], say("done"))
        others = [one for one in languages() if one != words.language and "joining.phone" in load_words(one)]
        links = "".join(
            f'<a href="?lang={one}" lang="{one}">{escape(load_words(one)("joining.phone.language"))}</a>'
            for one in others[:1]
        )
        # Over plain http the page itself cannot be joined: going on means the https address and its warning.
        on = (
            f'<a class="act wide" href="{escape(self._joining.address())}">{say("go_on")}</a>'
            if self._plain
            else f'<a class="act wide" id="on" role="link" aria-disabled="true" data-href="/">{say("go_on")}</a>'
        )
        return (
            f'<main class="page joining" data-joined="{say("joined")}" data-watching="{say("watching")}"'
            f' data-title="{say("joined_title")}" data-refused="{say("refused")}"'
            f' data-unreachable="{say("unreachable")}">\n'
            f'<div class="crumb"><span id="where" role="status">{say("not_yet")}</span>{links or "<span></span>"}'
            f'</div>\n<h1 class="title">{say("title")}</h1>\n<p class="under">{say("under")}</p>\n{steps}\n'
            f'<p class="mini after">{say("without")}</p>\n<div id="refused"></div>\n<div class="grow"></div>\n'
            f'<div class="acts"><a class="act main wide" href="/trust{_lang(words)}">{say("show")}</a>'
            f"{on}</div>\n</main>"
        )

    def _trust(self, words: Words) -> str:
        say = _say(words, "joining.trust")
        mine = platform(request.headers.get("User-Agent", ""))
        parts = []
        for kind in sorted(("ios", "android", "other"), key=lambda k: k != mine):
            steps = _steps([(escape(a), escape(b)) for a, b in words.get(f"joining.trust.{kind}_steps")])
            opened = " open" if kind == mine else ""
            parts.append(f"<details{opened}><summary>{say(kind)}</summary>{steps}</details>")
        kind = "mobileconfig" if mine == "ios" else "crt"
        notes = [
            ("check", "check_text", self._joining.certificates.authority.fingerprint),
            ("remove", "remove_text", ""),
        ]
        more = "".join(
            f"<h2>{say(head)}</h2><p>{say(text)}</p>"
            + (f'<p class="print"><span class="heard">{say("fingerprint")} </span>{extra}</p>' if extra else "")
            for head, text, extra in notes
        )
        home = ("/" if self._plain else "/join") + _lang(words)
        return (
            f'<main class="page trusting">\n<nav class="crumb"><a href="{home}">{_BACK}{say("back")}</a></nav>\n'
            f'<h1 class="title">{say("title")}</h1>\n<p class="under">{say("under")}</p>\n{"".join(parts)}\n'
            f'<div class="fine">{more}<p>{say("limits")}</p><p>{say("without")}</p></div>\n'
            f'<div class="grow"></div>\n'
            f'<div class="acts"><a class="act main wide" href="/trust/log-capture-coach.{kind}">{say("get")}</a>'
            f'<a class="act wide" href="{home}">{say("done")}</a></div>\n</main>'
        )


_BACK = '<svg class="mark" viewBox="0 0 24 24" aria-hidden="true"><path d="M14.5 4L6 12l8.5 8" class="line"/></svg>'
_TICK = '<svg class="mark" viewBox="0 0 24 24" aria-hidden="true"><path d="M3 12.5l6 6L21.5 5.5" class="line"/></svg>'


def _steps(steps: Iterable[tuple[str, str]], done: str = "") -> str:
    made = "".join(
        f'<li><b class="n">{number}</b><div><b>{head}</b><p>{text}</p></div>'
        + (f'<span class="tick" hidden>{_TICK}<span class="heard">{done}</span></span>' if done else "")
        + "</li>"
        for number, (head, text) in enumerate(steps, 1)
    )
    return f'<ol class="rules">{made}</ol>'


def _say(words: Words, part: str) -> Any:
    return lambda key: escape(words(f"{part}.{key}"))


def _words() -> Words:
    """In the language that is asked for by `?lang=`, else by the browser, where there are words in it."""
    known = [one for one in languages() if "joining.phone" in load_words(one)]
    asked = request.args.get("lang", "")
    return load_words(asked if asked in known else request.accept_languages.best_match(known, "en") or "en")


def _lang(words: Words) -> str:
    return f"?lang={words.language}" if request.args.get("lang") == words.language else ""


def platform(agent: str) -> str:
    """`ios`, `android` or `other`, from what a browser says of itself."""
    if "iPhone" in agent or "iPad" in agent:
        return "ios"
    return "android" if "Android" in agent else "other"


def device_name(agent: str, taken: Iterable[str]) -> str:
    """A name for a new device from what its browser says of itself, with a number where it is taken."""
    marks = {"iPhone": "iphone", "iPad": "ipad", "Android": "android", "Windows": "windows", "Macintosh": "mac",
             "Linux": "linux"}  # fmt: skip
    base = load_words()("joining.device." + next((key for mark, key in marks.items() if mark in agent), "other"))
    names, number = set(taken), 1
    while (name := base if number == 1 else f"{base} {number}") in names:
        number += 1
    return name


def _file(data: bytes, kind: str, name: str) -> Response:
    answer = Response(data, content_type=kind)
    answer.headers.set("Content-Disposition", "attachment", filename=name)
    return answer


def _profile(der: bytes, title: str) -> bytes:
    """The certificate as a configuration profile; the same certificate gives the same bytes."""
    mark = hashlib.sha256(der).hexdigest()
    inner = {
        "PayloadType": "com.apple.security.root", "PayloadVersion": 1, "PayloadContent": der,
        "PayloadCertificateFileName": "log-capture-coach.crt", "PayloadDisplayName": title,
        "PayloadIdentifier": f"log-capture-coach.{mark[:16]}.certificate",
        "PayloadUUID": str(uuid.uuid5(uuid.NAMESPACE_OID, f"{mark} certificate")).upper(),
    }  # fmt: skip
    return plistlib.dumps({
        "PayloadType": "Configuration", "PayloadVersion": 1, "PayloadContent": [inner], "PayloadDisplayName": title,
        "PayloadDescription": load_words()("joining.trust.limits"),
        "PayloadIdentifier": f"log-capture-coach.{mark[:16]}",
        "PayloadUUID": str(uuid.uuid5(uuid.NAMESPACE_OID, mark)).upper(), "PayloadRemovalDisallowed": False,
    })  # fmt: skip
