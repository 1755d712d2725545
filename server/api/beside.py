"""Two jobs beside each other on one site."""

import asyncio
from typing import Annotated, Any

from fastapi import APIRouter, Depends

from server.api.desk import desk
from server.beside import read_sheet, read_sheets, view_beside
from server.recordwork import Folder, list_folders
from server.service import Service
from server.store.connection import ask_store
from server.store.jobs import Job

router = APIRouter(prefix="/api/jobs", tags=["reviews"])
Desk = Annotated[Service, Depends(desk)]


@router.get("/{number}/beside/{other}")
async def read_beside(number: int, other: int, service: Desk) -> dict[str, Any]:
    """What two reviewed jobs did to the same ground; where the site's jobs missed, by ninths from the south-west."""
    jobs = [await service.jobs.find(each) for each in (number, other)]
    return await asyncio.to_thread(_compare, service, *jobs)


def _compare(service: Service, first: Job, second: Job) -> dict[str, Any]:
    """Read the sheets of both and of the other jobs of the same site."""
    folders = ask_store(service.database, list_folders)
    site = next((_site_of(each, first.number) for each in folders if _site_of(each, first.number) is not None), None)
    chosen = {first.number, second.number}
    others = [
        job
        for folder in folders
        for job in folder.jobs
        if job.number not in chosen and job.state == "finished" and site == _site_of(folder, job.number)
    ]
    sheets = [read_sheet(service.reviews, each) for each in (first, second)]
    return view_beside(sheets[0], sheets[1], read_sheets(service.reviews, others))


def _site_of(folder: Folder, number: int) -> int | None:
    """The site that a job's papers name."""
    for job, papers in zip(folder.jobs, folder.papers, strict=True):
        if job.number == number and papers.site is not None:
            return papers.site.number
    return None
