"""What a caller of core can do wrong.

ValueError
├── SetupError    a setting that is missing, unknown or out of range
└── EntryError    something a person entered that cannot be meant
"""


class SetupError(ValueError):
    """A setting that is missing, unknown or out of range; `key` names it as in the settings file."""

    def __init__(self, key: str, problem: str) -> None:
        super().__init__(f"{key}: {problem}")
        self.key = key
        self.problem = problem


class EntryError(ValueError):
    """What a person entered and cannot mean; `key` names the field, `problem` says value, limit and next step."""

    def __init__(self, key: str, problem: str) -> None:
        super().__init__(f"{key}: {problem}")
        self.key = key
        self.problem = problem
