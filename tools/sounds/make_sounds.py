#!/usr/bin/env python3
"""Makes the cue sounds of the station: one WAV per rule, and one for praise.

Takes nothing, writes `sounds/*.wav` of the project: 48 kHz, mono, 16 bit.
Only the standard library is used and nothing is random, so that the same
script always writes the same bytes.

What the sounds have to do:

* differ in rhythm AND in pitch, so that one of the two is enough to tell
  them apart in a loud rink or with a hearing loss;
* lie between 500 and 3000 Hz, where small loudspeakers are loud and hearing
  is keen, with some overtones inside that range so that a single noisy band
  does not hide a note;
* never startle: soft start and end, no clipping, under 0.9 s.

To add one: put a line into SOUNDS, named by the id of the rule.
"""

import math
import struct
import wave
from pathlib import Path

RATE_HZ = 48_000
PEAK = 10 ** (-3 / 20)  # -3 dBFS
ATTACK_S = 0.012
RELEASE_S = 0.045
HIGHEST_HZ = 3000.0
# Strength of the fundamental, its octave and the twelfth.
OVERTONES = (1.0, 0.28, 0.10)

# Notes of the equal-tempered scale, A4 = 440 Hz (ISO 16), by semitones
# above A4.
D5, E5, A5, B5 = 5, 7, 12, 14
C6, D6, E6, G6, A6, B6, C7 = 15, 17, 19, 22, 24, 26, 27

# Each note: start in seconds, length in seconds, semitones above A4.
SOUNDS = {
    # Two broad steps down: get low.
    "knee_bend": [(0.00, 0.30, A5), (0.36, 0.44, D5)],
    # A short note that leaps into a long one: push all the way.
    "extension": [(0.00, 0.10, E5), (0.13, 0.55, E6)],
    # Two equal taps: heels together.
    "recovery_gap": [(0.00, 0.11, B6), (0.22, 0.11, B6)],
    # Four even swings to and fro.
    "arm_crossover": [
        (0.00, 0.13, D6),
        (0.19, 0.13, A5),
        (0.38, 0.13, D6),
        (0.57, 0.13, A5),
    ],
    # One long still note.
    "trunk_lean": [(0.00, 0.75, B5)],
    # Three quick steps up.
    "toe_direction": [(0.00, 0.09, E6), (0.12, 0.09, G6), (0.24, 0.09, A6)],
    # Three short notes and a long one, up the chord: praise.
    "well_done": [
        (0.00, 0.10, C6),
        (0.12, 0.10, E6),
        (0.24, 0.10, G6),
        (0.36, 0.48, C7),
    ],
}


def pitch_hz(semitones_above_a4):
    return 440.0 * 2 ** (semitones_above_a4 / 12)


def envelope(t_s, length_s):
    """0 to 1: rises and falls along half cosines, sinks a little between."""
    rise = 0.5 - 0.5 * math.cos(math.pi * min(1.0, t_s / ATTACK_S))
    left_s = length_s - t_s
    fall = 0.5 - 0.5 * math.cos(math.pi * min(1.0, left_s / RELEASE_S))
    return rise * fall * math.exp(-1.6 * t_s)


def render(notes):
    length_s = max(start + length for start, length, _ in notes) + 0.02
    samples = [0.0] * round(length_s * RATE_HZ)
    for start_s, note_s, semitones in notes:
        f_hz = pitch_hz(semitones)
        first = round(start_s * RATE_HZ)
        for i in range(round(note_s * RATE_HZ)):
            t_s = i / RATE_HZ
            tone = sum(
                strength * math.sin(2 * math.pi * f_hz * (k + 1) * t_s)
                for k, strength in enumerate(OVERTONES)
                if f_hz * (k + 1) <= HIGHEST_HZ
            )
            samples[first + i] += envelope(t_s, note_s) * tone
    loudest = max(abs(s) for s in samples)
    return [s * PEAK / loudest for s in samples]


def main():
    folder = Path(__file__).resolve().parents[2] / "sounds"
    folder.mkdir(exist_ok=True)
    for name, notes in SOUNDS.items():
        samples = [round(s * 32767) for s in render(notes)]
        with wave.open(str(folder / f"{name}.wav"), "wb") as out:
            out.setnchannels(1)
            out.setsampwidth(2)
            out.setframerate(RATE_HZ)
            out.writeframes(struct.pack(f"<{len(samples)}h", *samples))
        print(f"{name}.wav: {len(samples) / RATE_HZ:.2f} s")


if __name__ == "__main__":
    main()
