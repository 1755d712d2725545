"""The wind's history: browse it, bring readings along, forget what was brought."""

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Query

from server.api.desk import desk
from server.service import Service

router = APIRouter(prefix="/api/history", tags=["history"])
Desk = Annotated[Service, Depends(desk)]
LARGEST = 2**53
From = Annotated[float, Query(alias="from", ge=0.0, le=1e11, allow_inf_nan=False)]
To = Annotated[float, Query(alias="to", ge=0.0, le=1e11, allow_inf_nan=False)]
Chosen = Annotated[int | None, Query(ge=1, le=LARGEST)]
Step = Annotated[int | None, Query(ge=60, le=31 * 86400)]


@router.get("")
async def browse_history(
    service: Desk,
    from_utc: From,
    to_utc: To,
    step: Step = None,
    source: Annotated[int | None, Query(ge=1, le=LARGEST)] = None,
) -> dict[str, Any]:
    """Means, gusts and directions from `from` to `to` (seconds UTC) in steps of `step` seconds, by source."""
    return await service.history.browse(from_utc=from_utc, to_utc=to_utc, step_s=step, number=source)


@router.delete("/{source}", status_code=204)
async def forget_source(source: Annotated[int, Path(ge=1, le=LARGEST)], service: Desk) -> None:
    """Forget an import with all its blocks."""
    await service.history.remove(source)
