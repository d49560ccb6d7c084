"""The resistance to be heard: a soft tone that rises with it, where the extra `sound` is installed."""

import numpy as np

RATE = 22050
LOWEST, HIGHEST = 180.0, 620.0  # [Hz]
PIECE = 0.08  # [s]
VOLUME = 0.25


def piece_of_tone(share):
    """Return a short piece of tone for a resistance, 0 to 1, as 16 bit samples (n,).

    It holds whole periods, so that pieces join without a click.
    """
    pitch = LOWEST * (HIGHEST / LOWEST) ** min(max(share, 0.0), 1.0)
    periods = max(1, round(pitch * PIECE))
    count = round(periods / pitch * RATE)
    wave = np.sin(2.0 * np.pi * periods * np.arange(count) / count)
    return (32000 * VOLUME * wave).astype(np.int16)


def can_play():
    """Return whether this installation can play a tone: the extra `sound` and a loudspeaker."""
    try:
        import sounddevice
    except (ImportError, OSError):
        return False
    return any(device["max_output_channels"] > 0 for device in sounddevice.query_devices())


class Tone:
    """Plays the present resistance; make one only where `can_play`."""

    def __init__(self):
        import sounddevice

        self.stream = sounddevice.OutputStream(samplerate=RATE, channels=1, dtype="int16")
        self.stream.start()

    def play(self, share):
        """Let a resistance be heard for a moment; never waits."""
        piece = piece_of_tone(share)
        if self.stream.write_available >= len(piece):
            self.stream.write(piece)

    def stop(self):
        self.stream.close()
