"""Errors as problem documents (RFC 9457)."""

from http import HTTPStatus

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from starlette.exceptions import HTTPException

from server.cards import explain_refusal
from server.core.errors import EntryError, SetupError
from server.errors import ConflictError, RequestError, ServiceError, StoreError, UnknownError

MEDIA_TYPE = "application/problem+json"
STATUS = ((UnknownError, 404), (ConflictError, 409), (StoreError, 507))
UNFORESEEN = "something went wrong that was not foreseen; the service's log says what"


def problem(status: int, detail: str, *, key: str | None = None, headers: dict[str, str] | None = None) -> JSONResponse:
    """One problem document."""
    content = {"type": "about:blank", "title": HTTPStatus(status).phrase, "status": status, "detail": detail}
    if key is not None:
        content["key"] = key
    return JSONResponse(content, status, headers, MEDIA_TYPE)


def add_problems(app: FastAPI) -> None:
    """Answer every error with a problem document."""

    @app.exception_handler(HTTPException)
    async def answer_http(request: Request, error: HTTPException) -> JSONResponse:
        detail = str(error.detail)
        if error.status_code == 404 and detail == HTTPStatus.NOT_FOUND.phrase:
            detail = f"there is no {request.url.path}"
        return problem(error.status_code, detail, headers=dict(error.headers or {}))

    @app.exception_handler(RequestValidationError)
    async def answer_validation(request: Request, error: RequestValidationError) -> JSONResponse:
        where, line = explain_refusal(error.errors()[0])
        return problem(422, f"{where}: {line}" if where else line, key=where or None)

    @app.exception_handler(EntryError)
    @app.exception_handler(SetupError)
    async def answer_entry(request: Request, error: EntryError | SetupError) -> JSONResponse:
        return problem(422, str(error), key=error.key)

    @app.exception_handler(ServiceError)
    async def answer_service(request: Request, error: ServiceError) -> JSONResponse:
        status = next((status for kind, status in STATUS if isinstance(error, kind)), 422)
        return problem(status, str(error), key=error.key if isinstance(error, RequestError) else None)

    @app.exception_handler(UnicodeEncodeError)
    async def answer_letters(request: Request, error: UnicodeEncodeError) -> JSONResponse:
        return problem(422, "a text holds half a character, which cannot be kept: type it again")

    @app.exception_handler(500)
    async def answer_unforeseen(request: Request, error: Exception) -> JSONResponse:
        return problem(500, UNFORESEEN)
