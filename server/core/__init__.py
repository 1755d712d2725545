"""The computation: arrays in, arrays out; no clock, file, socket or log."""
