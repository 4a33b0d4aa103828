#!/usr/bin/env python3
"""The computed tables of docs/hardware.md. Only the standard library is used.

    tools/hardware/tables.py

Pinhole camera, 16:9, level and square to the lane. The letter heights are those of
crates/interface/src/display/theme.rs.
"""

import math

ORDER_ARCMIN, WORD_ARCMIN, LEAST_ARCMIN = 60, 30, 22
SPEED_MPS = 6.0


def field(hfov_deg, distance_m):
    """Width and height of what is seen at the lane, metres."""
    width = 2 * distance_m * math.tan(math.radians(hfov_deg) / 2)
    return width, width * 9 / 16


def lens():
    print("| distance | " + " | ".join(f"{a} degrees" for a in (40, 50, 62, 75, 90)) + " |")
    print("|---|" + "---|" * 5)
    for distance in (4, 5, 6, 7, 8, 10):
        cells = []
        for angle in (40, 50, 62, 75, 90):
            width, height = field(angle, distance)
            cells.append(f"{width:.1f} x {height:.1f} m, {1.55 / height * 100:.0f} %")
        print(f"| {distance} m | " + " | ".join(cells) + " |")


def included(thigh_deg, shank_deg, shear):
    """Included knee angle of two limbs, given by their slopes from the vertical, when
    each line of the picture is moved sideways by `shear` of its depth."""

    def slope(angle):
        x, y = math.sin(math.radians(angle)), math.cos(math.radians(angle))
        return math.degrees(math.atan2(x + shear * y, y))

    return 180 - abs(slope(thigh_deg) - slope(shank_deg))


def shutter():
    print("| read-out of the whole picture | lean, 6 m off, 62 degrees | knee, the same | lean, 8 m off, 50 degrees |")
    print("|---|---|---|---|")
    for readout_ms in (0, 5, 10, 16, 20, 30):
        row = []
        for hfov, distance in ((62, 6), (50, 8)):
            shear = SPEED_MPS * readout_ms / 1000 / field(hfov, distance)[1]
            # Knee bent to 110 degrees, thigh forward by 45, shank back by 25.
            true = included(45, -25, 0)
            knee = max(abs(included(45, -25, s) - true) for s in (shear, -shear))
            row.append((math.degrees(math.atan(shear)), knee))
        name = "0 ms (global shutter)" if readout_ms == 0 else f"{readout_ms} ms"
        print(f"| {name} | {row[0][0]:.1f} degrees | {row[0][1]:.1f} degrees | {row[1][0]:.1f} degrees |")


def blur():
    print("| exposure | at 4 m/s | at 6 m/s | at 8 m/s |")
    print("|---|---|---|---|")
    for part in (125, 250, 500, 1000, 2000):
        print(f"| 1/{part} s | " + " | ".join(f"{v / part * 1000:.0f} mm" for v in (4, 6, 8)) + " |")


def screen():
    """The order screen holds an order of ORDER_ARCMIN, a number and two words."""
    print("| read from | order, tallest letters | words | least | smallest sensible picture height | as a 16:9 screen |")
    print("|---|---|---|---|---|---|")
    for distance in (5, 8, 10, 12, 15, 20):
        mm = [2 * math.pi * distance * 1000 * a / 21600 for a in (ORDER_ARCMIN, WORD_ARCMIN, LEAST_ARCMIN)]
        # The station's default: 0.62 m for 10 m.
        height = 0.062 * distance
        inches = height * math.hypot(16, 9) / 9 / 0.0254
        print(f"| {distance} m | {mm[0]:.0f} mm | {mm[1]:.0f} mm | {mm[2]:.0f} mm | {height:.2f} m | {inches:.0f} inch |")


for table in (lens, blur, shutter, screen):
    print(f"\n## {table.__name__}\n")
    table()
