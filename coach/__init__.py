"""The log capture coach: helps a driver bring back recordings that meet a calibrator's request."""

__version__ = "0.1.0"
