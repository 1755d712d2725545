"""What can go wrong in the service, each with a message for people.

ServiceError
├── SettingsError   a settings file that cannot be used          (also ValueError)
├── LogError        a raw log that cannot be read                (also ValueError)
├── StoreError      the database refuses                         (also OSError)
├── HistoryError    a table of wind readings that is of no use   (also ValueError)
├── LinkError       the broker refuses the link for good         (also ConnectionError)
├── RequestError    something asked for that makes no sense      (also ValueError)
├── ConflictError   something that does not go as things stand   (also ValueError)
├── JudgingError    the strips of the open job cannot be judged  (also RuntimeError)
└── UnknownError    a job, file or rig that is not there         (also LookupError)
"""


class ServiceError(Exception):
    """Anything that the service reports in one line."""


class SettingsError(ServiceError, ValueError):
    """A settings file that cannot be used."""


class LogError(ServiceError, ValueError):
    """A raw log that cannot be read."""


class StoreError(ServiceError, OSError):
    """The database refuses: a full or read-only disk, or a file that is none."""


class HistoryError(ServiceError, ValueError):
    """A table of wind readings that is of no use."""


class LinkError(ServiceError, ConnectionError):
    """The broker refuses the link for good, a wrong password say."""


class RequestError(ServiceError, ValueError):
    """Something asked for that makes no sense; `key` names what is wrong with it."""

    def __init__(self, key: str, problem: str) -> None:
        super().__init__(f"{key}: {problem}")
        self.key = key
        self.problem = problem


class ConflictError(ServiceError, ValueError):
    """Something that does not go as things stand."""


class JudgingError(ServiceError, RuntimeError):
    """The strips of the open job cannot be judged."""


class UnknownError(ServiceError, LookupError):
    """A job, file or rig that is not there."""
