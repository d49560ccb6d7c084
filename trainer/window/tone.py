"""The resistance to be heard: a soft tone that rises with it, where the machine can play one."""

import math
import struct

from PySide6.QtCore import QByteArray, QObject

RATE = 22050
LOWEST, HIGHEST = 180.0, 620.0  # [Hz]
PIECE = 0.08  # [s]


def piece_of_tone(share, *, volume=0.25):
    """Return a short piece of tone for a resistance, 0 to 1, as 16 bit mono samples."""
    pitch = LOWEST * (HIGHEST / LOWEST) ** min(max(share, 0.0), 1.0)
    count = int(RATE * PIECE)
    # Whole periods, so that pieces join without a click.
    periods = max(1, round(pitch * PIECE))
    wave = (math.sin(2.0 * math.pi * periods * n / count) for n in range(count))
    return b"".join(struct.pack("<h", int(32000 * volume * value)) for value in wave)


class Tone(QObject):
    """Plays the present resistance; silent where the binding brings no sound."""

    def __init__(self):
        super().__init__()
        try:
            from PySide6.QtMultimedia import QAudioFormat, QAudioSink, QMediaDevices
        except ImportError:
            self.sink = None
            return
        shape = QAudioFormat()
        shape.setSampleRate(RATE)
        shape.setChannelCount(1)
        shape.setSampleFormat(QAudioFormat.SampleFormat.Int16)
        device = QMediaDevices.defaultAudioOutput()
        self.sink = None if device.isNull() else QAudioSink(device, shape)
        self.out = self.sink.start() if self.sink else None

    def play(self, share):
        """Let a resistance be heard for a moment."""
        if self.sink and self.sink.bytesFree() >= 2 * int(RATE * PIECE):
            self.out.write(QByteArray(piece_of_tone(share)))

    def stop(self):
        if self.sink:
            self.sink.stop()
