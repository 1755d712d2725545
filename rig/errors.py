"""What can go wrong on the rig, each with a message for people.

RigError
├── SettingsError   a settings file that cannot be used        (also ValueError)
├── HardwareError   a pin or port that cannot be opened        (also OSError)
├── SpoolError      the disk refuses the spool                 (also OSError)
└── LinkError       the broker refuses the link                (also ConnectionError)
"""


class RigError(Exception):
    """Anything that the device program reports in one line."""


class SettingsError(RigError, ValueError):
    """A settings file that cannot be used; the message names key, value and what is allowed."""


class HardwareError(RigError, OSError):
    """A pin or port that cannot be opened; the message says what to check."""


class SpoolError(RigError, OSError):
    """The disk refuses the spool."""


class LinkError(RigError, ConnectionError):
    """The broker refuses the link for good, a wrong password say."""
