"""The past of the wind: what rigs recorded, and readings that users bring along."""
