"""Errors as problem documents (RFC 9457)."""

from http import HTTPStatus

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from starlette.exceptions import HTTPException

from server.core.errors import SetupError
from server.errors import ServiceError, StoreError, UnknownError

MEDIA_TYPE = "application/problem+json"


def problem(status: int, detail: str, *, key: str | None = None, headers: dict[str, str] | None = None) -> JSONResponse:
    """One problem document."""
    title = HTTPStatus(status).phrase
    content = {"type": "about:blank", "title": title, "status": status, "detail": detail}
    if key is not None:
        content["key"] = key
    return JSONResponse(content, status, headers, MEDIA_TYPE)


def add_problems(app: FastAPI) -> None:
    """Answer every error with a problem document."""

    @app.exception_handler(HTTPException)
    async def answer_http(request: Request, error: HTTPException) -> JSONResponse:
        return problem(error.status_code, str(error.detail), headers=dict(error.headers or {}))

    @app.exception_handler(RequestValidationError)
    async def answer_validation(request: Request, error: RequestValidationError) -> JSONResponse:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"] if part not in ("body", "query", "path"))
        return problem(422, f"{where}: {first['msg']}" if where else str(first["msg"]), key=where or None)

    @app.exception_handler(SetupError)
    async def answer_setup(request: Request, error: SetupError) -> JSONResponse:
        return problem(422, error.problem, key=error.key)

    @app.exception_handler(ServiceError)
    async def answer_service(request: Request, error: ServiceError) -> JSONResponse:
        status = 404 if isinstance(error, UnknownError) else 507 if isinstance(error, StoreError) else 422
        return problem(status, str(error))

    @app.exception_handler(ValueError)
    async def answer_value(request: Request, error: ValueError) -> JSONResponse:
        return problem(409, str(error))
