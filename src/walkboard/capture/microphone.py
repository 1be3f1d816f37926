"""The desk's microphone through PortAudio: any device and rate, survives losses and unplugging.

PortAudio calls back in its own thread, which only copies the block into a short queue. Blocks that
do not fit are counted as lost. A device that falls silent or disappears is reopened by its name
once a second; meanwhile the source's clock runs on, and the gap counts as lost.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from walkboard.capture.source import Block, Samples
from walkboard.errors import InputError

_QUEUE_S = 3.0
_BLOCK_S = 0.02
_DEAD_S = 1.0  # without a callback before a device counts as gone
_RETRY_S = 1.0
_GAP_S = 0.05  # of the clock ahead of the samples before samples count as lost


@dataclass(frozen=True, slots=True)
class Device:
    """A microphone of the system.

    Attributes
    ----------
    name : str
        Pass it to `Microphone`.
    channels : int
        Most channels it offers.
    sample_rate : int
        Its default rate [Hz].
    is_default : bool
    """

    name: str
    channels: int
    sample_rate: int
    is_default: bool


def portaudio() -> Any:
    """The binding to PortAudio.

    Raises
    ------
    InputError
        If the binding or PortAudio is not installed; says how to get it.
    """
    try:
        import sounddevice  # noqa: PLC0415 - fails at import where PortAudio is missing
    except ImportError:
        raise InputError(
            "The package sounddevice is not installed.", fix="Install Walkboard's requirements."
        ) from None
    except OSError:
        raise InputError(
            "PortAudio is not installed, so there is no microphone.",
            fix="On Debian and Ubuntu: apt-get install libportaudio2. Recordings work without it.",
        ) from None
    return sounddevice


def microphones(library: Any = None) -> tuple[Device, ...]:
    """The system's microphones, the default one first.

    Parameters
    ----------
    library : module, optional
        Replaces PortAudio's binding in tests.

    Raises
    ------
    InputError
        If PortAudio is not installed.
    """
    sd = library or portaudio()
    try:
        usual = int(sd.default.device[0])
        found = [
            Device(
                str(d["name"]),
                int(d["max_input_channels"]),
                int(d["default_samplerate"]),
                number == usual,
            )
            for number, d in enumerate(sd.query_devices())
            if int(d["max_input_channels"]) > 0
        ]
    except sd.PortAudioError as error:
        raise InputError(f"PortAudio cannot list the microphones: {error}.") from None
    return tuple(sorted(found, key=lambda device: not device.is_default))


class Microphone:
    """A microphone as a live source.

    Parameters
    ----------
    device : str or None
        Its name, as in `microphones`; None for the default one.
    sample_rate, channels : int or None
        None for the device's default rate, and one or two channels.
    library : module, optional
        Replaces PortAudio's binding in tests.
    clock : callable, optional
        A monotonic clock [s], replaced in tests.

    Attributes
    ----------
    is_plugged : bool
        False while the device is gone.

    Raises
    ------
    InputError
        If there is no such microphone or it cannot be opened.
    """

    def __init__(
        self,
        device: str | None = None,
        *,
        sample_rate: int | None = None,
        channels: int | None = None,
        library: Any = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._sd = library or portaudio()
        self._clock = clock
        there = microphones(self._sd)
        if not there:
            raise InputError(
                "The system has no microphone.",
                fix="Plug one in, or allow this program to use it, and try again.",
            )
        chosen = next((d for d in there if device is None or d.name == device), None)
        if chosen is None:
            names = ", ".join(d.name for d in there)
            raise InputError(f"There is no microphone {device!r}.", fix=f"There are: {names}.")
        self.name = chosen.name
        self.sample_rate = sample_rate or chosen.sample_rate
        self.channels = min(chosen.channels, channels or 2)
        self.is_plugged = True
        self._queue: queue.Queue[Samples] = queue.Queue(maxsize=round(_QUEUE_S / _BLOCK_S))
        self._stop = threading.Event()
        self._dropped = 0
        self._stream: Any = None
        self._open()
        self._began_s = self._clock()

    def _open(self) -> None:
        try:
            stream = self._sd.InputStream(
                samplerate=self.sample_rate,
                channels=self.channels,
                device=self.name,
                blocksize=round(_BLOCK_S * self.sample_rate),
                dtype="float32",
                callback=self._called,
            )
            stream.start()
        except (self._sd.PortAudioError, ValueError) as error:
            raise InputError(
                f"The microphone {self.name} cannot be opened at {self.sample_rate} Hz"
                f" with {self.channels} channels: {error}.",
                fix="Choose another rate or device, or close what else uses it.",
            ) from None
        self._stream = stream

    def _called(self, samples: Samples, _frames: int, _time: object, status: Any) -> None:
        """PortAudio's callback: copy and return; never wait, never raise."""
        if status and getattr(status, "input_overflow", False):
            self._dropped += len(samples)  # at least a block was lost before this one
        try:
            self._queue.put_nowait(np.array(samples, dtype=np.float32))
        except queue.Full:
            self._dropped += len(samples)

    def blocks(self) -> Iterator[Block]:
        """Blocks as they are heard."""
        at_s = 0.0
        heard_s = self._clock()
        while not self._stop.is_set():
            try:
                samples = self._queue.get(timeout=0.1)
            except queue.Empty:
                if self._clock() - heard_s > _DEAD_S:
                    self._reopen()
                    heard_s = self._clock() - _DEAD_S + _RETRY_S if not self.is_plugged else heard_s
                continue
            lost, self._dropped = self._dropped, 0
            now_s = self._clock()
            if not self.is_plugged or now_s - heard_s > _DEAD_S:
                # The clock shows how long it was gone.
                away_s = (now_s - self._began_s) - at_s - len(samples) / self.sample_rate
                if away_s > _GAP_S:
                    lost = max(lost, round(away_s * self.sample_rate))
                self.is_plugged = True
            heard_s = now_s
            at_s += lost / self.sample_rate
            yield Block(samples, at_s, lost)
            at_s += len(samples) / self.sample_rate

    def _reopen(self) -> None:
        """Reopen the device after it fell silent; if it is gone, wait a second."""
        self.is_plugged = False
        self._shut()
        # PortAudio lists devices only when it starts; the binding has no public call for that.
        for step in ("_terminate", "_initialize"):
            getattr(self._sd, step, lambda: None)()
        try:
            self._open()
        except InputError:
            return

    def _shut(self) -> None:
        stream, self._stream = self._stream, None
        if stream is not None:
            try:
                stream.close()
            except self._sd.PortAudioError:
                return  # gone with the device

    def close(self) -> None:
        """End it."""
        self._stop.set()
        self._shut()
