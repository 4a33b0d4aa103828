#!/usr/bin/env python3
"""Makes the cue sounds of the station.

Takes nothing, writes `sounds/*.wav` of the project: 48 kHz, stereo, 16 bit. Only
the standard library is used and nothing is random, so that the same script always
writes the same bytes.

Three families that are learned in one evening:

* praise (`well_done`): up a chord, bright;
* do (`<rule>_left`, `_right`, `_both`; `_more`, `_less` where a rule wants both):
  the rhythm says which order, the two notes say the side. Left rises and comes
  from the left, right falls and comes from the right, both is one note from the
  middle. A trunk has no side: further ahead sinks, up rises;
* go again (`go_again`): two low, dark, even notes. Nobody did anything wrong.

What they have to do:

* lie between 500 and 3000 Hz, where small loudspeakers are loud and hearing is
  keen, with overtones inside that range so that one noisy band hides no note;
* never startle: soft start and end, no clipping, under 0.9 s;
* be equally loud: the loudest 400 ms of each (momentary loudness, EBU Tech 3341,
  with the filter of ITU-R BS.1770) are brought to one level. `check_loudness.sh`
  holds the files against ffmpeg's own meter.
"""

import math
import struct
import wave
from pathlib import Path

RATE_HZ = 48_000
LOUDNESS_LUFS = -10.0
ATTACK_S = 0.012
RELEASE_S = 0.045
HIGHEST_HZ = 3000.0
# Strength of the fundamental, its octave and the twelfth, by family.
BRIGHT = (1.0, 0.35, 0.18)
WARM = (1.0, 0.28, 0.10)
DARK = (1.0, 0.12, 0.22)
# Share of the far channel for a sound from one side.
FAR_CHANNEL = 0.30

# Rhythms of the orders: start and length of each note in seconds.
RHYTHMS = {
    "knee_bend": [(0.00, 0.34), (0.40, 0.44)],
    "extension": [(0.00, 0.09), (0.13, 0.66)],
    "recovery_gap": [(0.00, 0.12), (0.17, 0.12)],
    "arm_crossover": [(0.00, 0.15), (0.21, 0.15), (0.42, 0.15), (0.63, 0.15)],
    "toe_direction": [(0.00, 0.08), (0.11, 0.08), (0.22, 0.42)],
}
TRUNK = [(0.00, 0.46), (0.52, 0.11), (0.68, 0.11)]

# Notes by semitones above A4 = 440 Hz (ISO 16). Each order has two of its own.
NOTES = {
    "knee_bend": (3, 8),
    "extension": (7, 12),
    "recovery_gap": (14, 19),
    "arm_crossover": (5, 10),
    "toe_direction": (16, 21),
}


def sides(rule):
    """The order's rhythm with the notes of each side."""
    low, high = NOTES[rule]
    count = len(RHYTHMS[rule])
    # The last note is the other one: rising is left, falling is right. A swing
    # goes to and fro.
    if rule == "arm_crossover":
        rising = [low, high, low, high]
    else:
        rising = [low] * (count - 1) + [high]
    falling = [low + high - n for n in rising]
    middle = [(low + high) // 2] * count
    for side, notes in (("left", rising), ("right", falling), ("both", middle)):
        yield side, [(s, l, n) for (s, l), n in zip(RHYTHMS[rule], notes)]


def all_sounds():
    """Name, notes, timbre, place (-1 left, 0 middle, 1 right)."""
    places = {"left": -1, "right": 1, "both": 0}
    for rule in RHYTHMS:
        for side, notes in sides(rule):
            yield f"{rule}_{side}", notes, WARM, places[side]
    for name, pitches in (("more", (17, 12, 9)), ("less", (9, 14, 17))):
        notes = [(s, l, n) for (s, l), n in zip(TRUNK, pitches)]
        yield f"trunk_lean_{name}", notes, WARM, 0
    praise = [(0.00, 0.10, 15), (0.12, 0.10, 19), (0.24, 0.10, 22), (0.36, 0.48, 27)]
    yield "well_done", praise, BRIGHT, 0
    yield "go_again", [(0.00, 0.22, 3), (0.30, 0.22, 3)], DARK, 0


def pitch_hz(semitones_above_a4):
    return 440.0 * 2 ** (semitones_above_a4 / 12)


def envelope(t_s, length_s):
    """0 to 1: rises and falls along half cosines, sinks a little between."""
    rise = 0.5 - 0.5 * math.cos(math.pi * min(1.0, t_s / ATTACK_S))
    left_s = length_s - t_s
    fall = 0.5 - 0.5 * math.cos(math.pi * min(1.0, left_s / RELEASE_S))
    return rise * fall * math.exp(-1.6 * t_s)


def render(notes, overtones):
    length_s = max(start + length for start, length, _ in notes) + 0.02
    samples = [0.0] * round(length_s * RATE_HZ)
    for start_s, note_s, semitones in notes:
        f_hz = pitch_hz(semitones)
        first = round(start_s * RATE_HZ)
        for i in range(round(note_s * RATE_HZ)):
            t_s = i / RATE_HZ
            tone = sum(
                strength * math.sin(2 * math.pi * f_hz * (k + 1) * t_s)
                for k, strength in enumerate(overtones)
                if f_hz * (k + 1) <= HIGHEST_HZ
            )
            samples[first + i] += envelope(t_s, note_s) * tone
    return samples


def k_weighted(samples):
    """The two filters of ITU-R BS.1770 at 48 kHz (tables 1 and 2 there)."""
    shelf = (
        (1.53512485958697, -2.69169618940638, 1.19839281085285),
        (-1.69065929318241, 0.73248077421585),
    )
    high_pass = ((1.0, -2.0, 1.0), (-1.99004745483398, 0.99007225036621))
    for b, a in (shelf, high_pass):
        x1 = x2 = y1 = y2 = 0.0
        out = []
        for x in samples:
            y = b[0] * x + b[1] * x1 + b[2] * x2 - a[0] * y1 - a[1] * y2
            x1, x2, y1, y2 = x, x1, y, y1
            out.append(y)
        samples = out
    return samples


def momentary_lufs(channels):
    """The loudest 400 ms, in steps of 10 ms, silence before and after."""
    window = round(0.4 * RATE_HZ)
    step = round(0.01 * RATE_HZ)
    power = None
    for samples in channels:
        weighted = k_weighted([0.0] * window + samples + [0.0] * window)
        squares = [0.0]
        for v in weighted:
            squares.append(squares[-1] + v * v)
        sums = [
            squares[i + window] - squares[i]
            for i in range(0, len(weighted) - window, step)
        ]
        power = sums if power is None else [p + s for p, s in zip(power, sums)]
    return -0.691 + 10 * math.log10(max(power) / window)


def main():
    folder = Path(__file__).resolve().parents[2] / "sounds"
    folder.mkdir(exist_ok=True)
    for old in folder.glob("*.wav"):
        old.unlink()
    for name, notes, overtones, place in all_sounds():
        mono = render(notes, overtones)
        gains = {
            -1: (1.0, FAR_CHANNEL),
            0: (1.0, 1.0),
            1: (FAR_CHANNEL, 1.0),
        }[place]
        channels = [[s * g for s in mono] for g in gains]
        gain = 10 ** ((LOUDNESS_LUFS - momentary_lufs(channels)) / 20)
        channels = [[s * gain for s in channel] for channel in channels]
        peak = max(abs(s) for channel in channels for s in channel)
        assert peak < 10 ** (-1 / 20), f"{name} would clip: {peak:.2f}"
        with wave.open(str(folder / f"{name}.wav"), "wb") as out:
            out.setnchannels(2)
            out.setsampwidth(2)
            out.setframerate(RATE_HZ)
            frames = [round(s * 32767) for pair in zip(*channels) for s in pair]
            out.writeframes(struct.pack(f"<{len(frames)}h", *frames))
        db = 20 * math.log10(peak)
        print(f"{name}.wav: {len(mono) / RATE_HZ:.2f} s, peak {db:.1f} dBFS")


if __name__ == "__main__":
    main()
