"""Pins, ports and other hardware, each imported only when used."""
