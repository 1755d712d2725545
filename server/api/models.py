"""What the API takes and gives, strictly: unknown keys are refused."""

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

Button = Literal["start", "pause", "refill", "peg", "finish", "note"]


class Strict(BaseModel):
    """No unknown keys, no coercion."""

    model_config = ConfigDict(extra="forbid", strict=True)


Boot = Annotated[str, Field(pattern="^[0-9a-f]{8,32}$")]
Mono = Annotated[float, Field(ge=0.0, le=1e10, allow_inf_nan=False)]
Utc = Annotated[float, Field(ge=0.0, le=1e11, allow_inf_nan=False)]
Pair = Annotated[list[str | float], Field(min_length=2, max_length=2)]
Text = Annotated[str, Field(min_length=1, max_length=120)]


class End(Strict):
    """One end of a span: a start of the device and its clock."""

    boot: Boot
    mono: Mono


class Instant(Strict):
    """One end of a span by the time of day."""

    utc: Utc


class NewJob(Strict):
    """A job: `start` "now" begins it, none leaves it until start is pressed, another declares it over the log.

    One that begins now without `papers` rests on what was chosen for the next job.
    """

    name: Text
    rig: str | None = Field(default=None, pattern="^[a-z0-9-]{1,32}$")
    start: Literal["now"] | End | Instant | Pair | None = None
    end: End | Instant | Pair | None = None
    papers: dict[str, Any] | None = None


class JobChange(Strict):
    """A new name or new settings for a job."""

    name: Text | None = None
    setup: dict[str, Any] | None = None


class Press(Strict):
    """A button pressed on the dashboard."""

    kind: Button
    detail: dict[str, Any] = Field(default_factory=dict)


class Passcode(Strict):
    """The passcode typed in."""

    passcode: str = Field(max_length=200)


class JobView(Strict):
    """A job as the API gives it."""

    id: int
    name: str
    rig: str
    state: str
    started_at: str
    revision: int
    start: list[str | float] | None
    end: list[str | float] | None
    part_of: int | None = None


class StorePart(Strict):
    """What the disk still takes, how large the store is, what is kept outside jobs and since when, what went."""

    free_bytes: int
    file_bytes: int
    keep_hours: float | None
    outside_jobs_since_utc: float | None
    removed_messages: int


class Health(Strict):
    """That the service is there."""

    status: Literal["ok"]
    version: str
    broker: bool
    store: StorePart
