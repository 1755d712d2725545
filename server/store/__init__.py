"""The only SQL of the service."""
