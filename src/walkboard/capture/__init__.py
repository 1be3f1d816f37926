"""Microphone and played files as live sources: arrays with time stamps; recordings as they come."""
