"""People as records name them: who applies, and for whom."""

from dataclasses import dataclass

from server.core.entered import Entered, entry

ROLES = ("operator", "customer")


@dataclass(frozen=True, slots=True)
class PersonCard(Entered):
    """Somebody who applies or for whom it is done."""

    name: str = entry("Name", text="name")
    role: str = entry("Role", choices=ROLES, default="operator")
    licence: str = entry("Licence or certificate number", default="")
    business: str = entry("Business", default="")
    address: str = entry("Address", default="")
    note: str = entry("Note", text="note", default="")
