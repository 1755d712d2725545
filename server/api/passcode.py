"""The passcode: asked for when the service listens to more than this machine."""

import asyncio
import hashlib
import hmac
import secrets
import time

from fastapi import APIRouter, Request, Response

from server.api.models import Passcode
from server.api.problems import problem

COOKIE = "calmpass"
FAILURE_DELAY_S = 0.5
LONGEST_DELAY_S = 8.0
OPEN_PATHS = ("/api/health", "/api/passcode")


class Gate:
    """Knows the passcode; hands out and checks a signed cookie."""

    def __init__(self, passcode: str | None) -> None:
        self._passcode = passcode
        self._key = secrets.token_bytes(32)
        self._failures = 0
        self._failed_at = 0.0

    @property
    def is_set(self) -> bool:
        """Whether a passcode is asked for at all."""
        return self._passcode is not None

    @property
    def token(self) -> str:
        """What the cookie of an admitted browser holds."""
        return hmac.new(self._key, b"admitted", hashlib.sha256).hexdigest()

    def admits(self, request: Request) -> bool:
        """Whether a request may pass."""
        if self._passcode is None or request.url.path in OPEN_PATHS or not request.url.path.startswith("/api/"):
            return True
        return hmac.compare_digest(request.cookies.get(COOKIE, ""), self.token)

    async def check(self, passcode: str) -> bool:
        """Compare in constant time; each failure makes the next answer slower for a while."""
        if time.monotonic() - self._failed_at > 60.0:
            self._failures = 0
        if self._failures:
            await asyncio.sleep(min(FAILURE_DELAY_S * 2.0 ** min(self._failures - 1, 4), LONGEST_DELAY_S))
        is_right = hmac.compare_digest(passcode.encode(), (self._passcode or "").encode())
        if not is_right:
            self._failures += 1
            self._failed_at = time.monotonic()
        return is_right


router = APIRouter(prefix="/api", tags=["passcode"])


@router.post("/passcode", status_code=204)
async def enter(body: Passcode, request: Request) -> Response:
    """Give the passcode; the answer sets the cookie."""
    gate: Gate = request.app.state.gate
    if gate.is_set and not await gate.check(body.passcode):
        return problem(401, "that is not the passcode")
    response = Response(status_code=204)
    response.set_cookie(COOKIE, gate.token, httponly=True, samesite="strict", max_age=30 * 86400)
    return response
