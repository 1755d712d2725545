"""The passcode: asked for when the service listens to more than this machine."""

import asyncio
import hashlib
import hmac
import time
from collections.abc import Callable

from fastapi import APIRouter, Request, Response

from server.api.models import Passcode
from server.api.problems import problem

COOKIE = "calmpass"
COOKIE_DAYS = 30
FAILURE_DELAY_S = 0.5
LONGEST_DELAY_S = 8.0
FORGET_S = 60.0
MOST_WAITING = 5
OPEN_PATHS = ("/api/health", "/api/passcode")


class Gate:
    """Knows the passcode; hands out and checks a signed cookie.

    The cookie's key comes from the passcode alone: a browser stays admitted when the service starts again, and no
    longer once the passcode is another.
    """

    def __init__(self, passcode: str | None, *, now: Callable[[], float] = time.monotonic) -> None:
        self._passcode = None if passcode is None else passcode.encode()
        self._token = b"" if passcode is None else _sign(passcode.encode())
        self._now = now
        self._failures = 0
        self._failed_at = 0.0
        self._turn = asyncio.Lock()
        self._waiting = 0

    @property
    def is_set(self) -> bool:
        """Whether a passcode is asked for at all."""
        return self._passcode is not None

    @property
    def token(self) -> str:
        """What the cookie of an admitted browser holds."""
        return self._token.decode()

    @property
    def is_crowded(self) -> bool:
        """Whether so many wait to be compared that no more are taken."""
        return self._waiting >= MOST_WAITING

    def admits(self, request: Request) -> bool:
        """Whether a request may pass: the pages hold nothing secret, the API does."""
        if self._passcode is None or request.url.path in OPEN_PATHS or not request.url.path.startswith("/api/"):
            return True
        return hmac.compare_digest(request.cookies.get(COOKIE, "").encode(), self._token)

    async def check(self, passcode: str) -> bool:
        """Compare in constant time, one after the other; each failure makes the next answer slower for a while."""
        self._waiting += 1
        try:
            async with self._turn:
                await asyncio.sleep(self._delay())
                is_right = hmac.compare_digest(passcode.encode(), self._passcode or b"")
                if not is_right:
                    self._failures += 1
                    self._failed_at = self._now()
                return is_right
        finally:
            self._waiting -= 1

    def _delay(self) -> float:
        """How long the next comparison is put off."""
        if self._now() - self._failed_at > FORGET_S:
            self._failures = 0
        if not self._failures:
            return 0.0
        return float(min(FAILURE_DELAY_S * 2.0 ** min(self._failures - 1, 8), LONGEST_DELAY_S))


def _sign(passcode: bytes) -> bytes:
    """The cookie's content: slow to guess a passcode from."""
    key = hashlib.scrypt(passcode, salt=b"calmpass cookie", n=2**13, r=8, p=1)
    return hmac.new(key, b"admitted", hashlib.sha256).hexdigest().encode()


router = APIRouter(prefix="/api", tags=["passcode"])


@router.post("/passcode", status_code=204)
async def enter(body: Passcode, request: Request) -> Response:
    """Give the passcode; the answer sets the cookie."""
    gate: Gate = request.app.state.gate
    if gate.is_set and gate.is_crowded:
        return problem(429, "too many passcodes at once: try again in a few seconds", headers={"Retry-After": "8"})
    if gate.is_set and not await gate.check(body.passcode):
        return problem(401, "that is not the passcode")
    response = Response(status_code=204)
    response.set_cookie(COOKIE, gate.token, httponly=True, samesite="strict", max_age=COOKIE_DAYS * 86400)
    return response
