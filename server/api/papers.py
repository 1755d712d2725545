"""The cards that jobs rest on: of one job, of the next one, and another sprayer in the middle of one."""

from dataclasses import asdict
from typing import Annotated, Any

from fastapi import APIRouter, Body, Depends

from server.api.desk import desk
from server.api.jobs import view
from server.api.models import JobView
from server.cards import record_from_mapping
from server.core.papers import Papers
from server.core.tables import mapping_from_setup
from server.errors import ServiceError
from server.papers import Choice, Swap, choice_from
from server.service import Service

router = APIRouter(prefix="/api", tags=["papers"])
Desk = Annotated[Service, Depends(desk)]
Plain = Annotated[dict[str, Any], Body()]


@router.get("/jobs/{number}/papers")
async def read_papers(number: int, service: Desk) -> dict[str, Any]:
    """Which cards a job rests on, in which versions, with their names; `parts`: the jobs that belong together."""
    await service.jobs.find(number)
    return await _tell(service, number)


@router.put("/jobs/{number}/papers")
async def change_papers(number: int, body: Plain, service: Desk) -> dict[str, Any]:
    """Let a job rest on other cards: its settings are made anew from them, and its review is computed again.

    Cards that it rests on already keep their versions unless others are named.
    """
    choice = choice_from(body)
    await service.change_papers(await service.jobs.find(number), choice)
    return await _tell(service, number)


@router.post("/jobs/{number}/swap", status_code=201)
async def swap_sprayer(number: int, body: Plain, service: Desk) -> JobView:
    """Go on with another sprayer: the open job ends here, and the next part of it begins with settings of its own."""
    sprayer = record_from_mapping(Swap, body).sprayer
    job = await service.swap_sprayer(await service.jobs.find(number), sprayer)
    return view(job, (await service.office.cards.papers(job.number)).part_of)


@router.get("/next")
async def read_next(service: Desk) -> dict[str, Any]:
    """What the next job is to rest on, the names of all that follows from it, and why no job could begin so."""
    return await _tell_next(service, await service.office.paperwork.read_next())


@router.put("/next")
async def choose_next(body: Plain, service: Desk) -> dict[str, Any]:
    """Choose what the next job is to rest on, on the rig's START too; refused where no job could begin so."""
    kept = await service.office.paperwork.choose_next(service.jobs.setup, choice_from(body))
    await service.follow_next()
    return await _tell_next(service, kept)


async def _tell(service: Service, number: int) -> dict[str, Any]:
    papers = await service.office.cards.papers(number)
    first = papers.part_of or number
    later = [job for job, of in (await service.office.paperwork.list_parts()).items() if of == first]
    return {**await service.office.paperwork.tell(papers), "parts": [first, *later] if later else []}


async def _tell_next(service: Service, choice: Choice) -> dict[str, Any]:
    """The choice with what a job from it would rest on."""
    problem, papers, setup = None, Papers(), service.jobs.setup
    try:
        papers = await service.office.paperwork.resolve(choice)
        setup = await service.office.paperwork.assemble(setup, papers)
    except (ServiceError, ValueError) as error:
        problem = str(error)
    due = None if papers.sprayer is None else await service.office.checks.tell_due(papers.sprayer.number)
    told = {"choice": _plain(choice), "problem": problem, "papers": await service.office.paperwork.tell(papers)}
    return {**told, "setup": mapping_from_setup(setup), "due": due}


def _plain(choice: Choice) -> dict[str, Any]:
    return {name: value for name, value in asdict(choice).items() if value not in (None, ())}
