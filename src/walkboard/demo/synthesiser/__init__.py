"""Renders pipes, rooms and key holders; shares no code with `walkboard.listening`.

`render_walk` renders a registration walked key by key, `render_rank_walk` one rank for studies.
Every recording comes with its truth: see `RenderedWalk`.
"""

from walkboard.demo.synthesiser.ambience import SILENCE, Ambience
from walkboard.demo.synthesiser.key_holder import Faults, KeyHolder, Press, Slip, hold_keys
from walkboard.demo.synthesiser.pitch import FrequencyTrack
from walkboard.demo.synthesiser.rendering import Microphone, render_rank_walk, render_walk
from walkboard.demo.synthesiser.room import DRY, Room, impulse_response
from walkboard.demo.synthesiser.truth import HoldTruth, PipeTruth, RenderedWalk, WalkTruth
from walkboard.demo.synthesiser.voices import PipeVoice, VoiceKind, partial_levels_db

__all__ = [
    "DRY",
    "SILENCE",
    "Ambience",
    "Faults",
    "FrequencyTrack",
    "HoldTruth",
    "KeyHolder",
    "Microphone",
    "PipeTruth",
    "PipeVoice",
    "Press",
    "RenderedWalk",
    "Room",
    "Slip",
    "VoiceKind",
    "WalkTruth",
    "hold_keys",
    "impulse_response",
    "partial_levels_db",
    "render_rank_walk",
    "render_walk",
]
