"""The only HTTP of the service."""
