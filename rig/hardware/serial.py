"""A serial port or pseudo-terminal read through termios and the event loop, opened again after a hang-up."""

import asyncio
import logging
import os
import termios
import tty

from rig.errors import HardwareError
from rig.ports import Clock

log = logging.getLogger(__name__)
PIECE_BYTES = 4096
RETRY_S = 1.0
HANG_UP_PAUSE_S = 0.1


class SerialPort:
    """One tty; a piece of bytes at a time, each with the time it came."""

    def __init__(self, device: str, baud: int, clock: Clock) -> None:
        self._device = device
        self._baud = baud
        self._clock = clock
        self._handle: int | None = None
        self._is_lost = False

    def open(self) -> None:
        """Open and configure the port; raises HardwareError with what to check."""
        try:
            handle = os.open(self._device, os.O_RDONLY | os.O_NOCTTY | os.O_NONBLOCK)
        except OSError as error:
            raise HardwareError(
                f"{self._device}: cannot be opened ({error.strerror}): is the receiver plugged in, "
                "and is the user in the group dialout?"
            ) from error
        try:
            tty.setraw(handle, termios.TCSANOW)
            self._set_speed(handle)
        except HardwareError:
            os.close(handle)
            raise
        except termios.error as error:
            os.close(handle)
            raise HardwareError(f"{self._device}: is not a serial port ({error})") from error
        self._handle = handle

    async def read(self) -> tuple[bytes, float]:
        """Wait for the next piece, through hang-ups as long as they last."""
        while True:
            while self._handle is None:
                await self._reopen()
            piece = await self._read_piece()
            if piece:
                return piece, self._clock.now()
            self.close()
            await asyncio.sleep(HANG_UP_PAUSE_S)

    def close(self) -> None:
        """Let the port go."""
        if self._handle is not None:
            os.close(self._handle)
            self._handle = None

    async def _reopen(self) -> None:
        """Try once more; say so when it changes."""
        try:
            self.open()
        except HardwareError as error:
            if not self._is_lost:
                log.warning("receiver lost: %s; trying again until it is back", error)
            self._is_lost = True
            await asyncio.sleep(RETRY_S)
        else:
            if self._is_lost:
                log.warning("receiver is back on %s", self._device)
            self._is_lost = False

    async def _read_piece(self) -> bytes:
        """Wait until the port can be read; empty bytes mean that it hung up."""
        assert self._handle is not None
        loop = asyncio.get_running_loop()
        ready: asyncio.Future[None] = loop.create_future()
        loop.add_reader(self._handle, _resolve, ready)
        try:
            await ready
            return os.read(self._handle, PIECE_BYTES)
        except BlockingIOError:
            return await self._read_piece()
        except OSError:
            return b""
        finally:
            if self._handle is not None:
                loop.remove_reader(self._handle)

    def _set_speed(self, handle: int) -> None:
        """Set the line speed; a pseudo-terminal takes any."""
        speed = getattr(termios, f"B{self._baud}", None)
        if speed is None:
            raise HardwareError(f"{self._device}: {self._baud} baud is not a speed that this system knows")
        attributes = termios.tcgetattr(handle)
        attributes[4] = attributes[5] = speed
        termios.tcsetattr(handle, termios.TCSANOW, attributes)


def _resolve(ready: asyncio.Future[None]) -> None:
    if not ready.done():
        ready.set_result(None)
