"""The service that requests are answered by."""

from fastapi import Request

from server.service import Service


def desk(request: Request) -> Service:
    """The one service of this program."""
    found: Service = request.app.state.service
    return found
