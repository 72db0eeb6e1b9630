"""What the topics of gears answer, and what they refuse, each naming its source."""

from __future__ import annotations

from typing import Any

PAIR: list[dict[str, Any]] = [
    {"teeth": 12, "module": 3, "shift": 0.6},
    {"teeth": 24, "module": "3 mm", "shift": 0.36},
]

GOOD: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    # A sliding-mesh box of a textbook, stored: 20/40 and 18 by an idler to 38, reverse 4.2222.
    "gear-train": (
        {
            "stages": [{"driving": 20, "driven": 40}, {"driving": 18, "driven": 38, "idlers": [15]}],
            "module": 3,
            "input_speed": 1900,
        },
        {
            "ratio": 4.2222,
            "signed_ratio": -4.2222,
            "same_sense": False,
            "stage_ratios": [2.0, 38 / 18],
            "centre_distances_mm": [90.0, 49.5, 79.5],
            "output_speed_rpm": 450.0,
        },
    ),
    # Profile shifted spur pair, published table (bolsover.com), stored.
    "gear-pair": (
        {"gears": PAIR, "centre": "56.5 mm"},
        {"runs": True, "reasons": [], "working_pressure_angle_deg": 26.0888, "contact_ratio": 1.202},
    ),
    # Spur span example of the metric gear handbooks (from memory): 32.8266 over 4 teeth.
    "span": (
        {"teeth": 24, "module": 3, "pressure_angle_deg": 20, "spanned": 4, "shift": 0.4},
        {"span_mm": 32.8266, "spanned": 4, "thinning_mm": None},
    ),
    # Machinery's Handbook, example of 32 teeth of 4 diametral pitch over 1.728/4 in wires, stored: 8.6032 in.
    "over-pins": (
        {"teeth": 32, "diametral_pitch": 4, "pin": "0.432 in"},
        {"over_pins_mm": 8.6032 * 25.4},
    ),
    # Elements of Metric Gear Technology, table 10-1, stored.
    "chordal-thickness": (
        {"teeth": 12, "module": "10 mm", "shift": 0.3, "addendum": "13 mm"},
        {"chord_mm": 17.8256, "height_mm": 13.6657, "thickness_mm": 17.8918, "half_angle_deg": 8.5427},
    ),
    # By the lever: 0.30 at 60 mm is 0.20 at the pitch radius of 40 mm; square to it 0.20 cos 20°.
    "backlash": (
        {"teeth": 40, "module": 2, "reading": "0.30 mm", "radius": "60 mm"},
        {"backlash_mm": 0.2, "normal_backlash_mm": 0.18794},
    ),
    # By hand: 100 N·m on 60 mm is 3333.3 N; over 25 × 3 × 0.320.
    "bending": (
        {"torque": "100 N·m", "teeth": 20, "module": 3, "face_width": "25 mm", "allowable": "200 MPa"},
        {
            "stress_mpa": 138.89,
            "tangential_force_n": 3333.3,
            "form_factor": 0.32,
            "velocity_factor": 1.0,
            "share_of_allowable": 0.6944,
        },
    ),
}

SPANS = {"reading": None, "radius": None, "spanned": 5, "measured": "27.60 mm"}

BAD: list[tuple[str, dict[str, Any], str]] = [
    ("gear-train", {"stages": []}, "stages"),
    ("gear-train", {"stages": [{"driving": 20, "driven": 40.5}]}, "stages"),
    ("gear-train", {"stages": [{"driving": 20, "driven": 3}]}, "stages"),
    ("gear-train", {"stages": [{"driving": 20}]}, "stages"),
    ("gear-train", {"diametral_pitch": 8}, "diametral_pitch"),
    ("gear-train", {"module": None, "diametral_pitch": 0}, "diametral_pitch"),
    ("gear-train", {"module": "90 mm"}, "module"),
    ("gear-train", {"helix_deg": 80}, "helix_deg"),
    ("gear-train", {"input_speed": "fast"}, "input_speed"),
    ("gear-pair", {"gears": PAIR[:1]}, "gears"),
    ("gear-pair", {"gears": [PAIR[0], {"teeth": 24}]}, "gears"),
    ("gear-pair", {"gears": [PAIR[0], {"teeth": 2, "module": 3}]}, "gears"),
    ("gear-pair", {"gears": [PAIR[0], PAIR[1] | {"form": "round"}]}, "gears"),
    ("gear-pair", {"centre": "20 mm"}, "centre"),
    ("span", {"teeth": 2}, "teeth"),
    ("span", {"teeth": 20.5}, "teeth"),
    ("span", {"module": None}, "module"),
    ("span", {"module": "200 mm"}, "module"),
    ("span", {"pressure_angle_deg": 60}, "pressure_angle_deg"),
    ("span", {"spanned": 9}, "spanned"),
    ("span", {"helix_deg": -3}, "helix_deg"),
    ("span", {"shift": 4}, "shift"),
    ("span", {"form": "9/2"}, "form"),
    ("span", {"measured": "40 mm"}, "measured"),
    ("over-pins", {"pin": "1 mm"}, "pin"),
    ("over-pins", {"teeth": None}, "teeth"),
    ("over-pins", {"diametral_pitch": None}, "module"),
    ("chordal-thickness", {"addendum": "−1 mm"}, "addendum"),
    ("chordal-thickness", {"form": "2/9"}, "form"),
    ("backlash", {"reading": None, "radius": None}, "reading"),
    ("backlash", {"measured": "27.6 mm"}, "reading"),
    ("backlash", {"reading": "9 mm"}, "reading"),
    ("backlash", {"radius": None}, "radius"),
    ("backlash", {"radius": "1 mm"}, "radius"),
    ("backlash", {"way": "across"}, "way"),
    ("backlash", {"pitch_diameter": "10 mm"}, "pitch_diameter"),
    ("backlash", SPANS, "mate_teeth"),
    ("backlash", SPANS | {"mate_teeth": 40, "measured": "90 mm"}, "measured"),
    ("backlash", SPANS | {"mate_teeth": 40, "spanned": 30}, "spanned"),
    ("backlash", SPANS | {"mate_teeth": 40, "mate_measured": "90 mm"}, "mate_measured"),
    ("backlash", SPANS | {"mate_teeth": 40, "mate_spanned": 30, "mate_measured": "27.6 mm"}, "mate_spanned"),
    ("backlash", SPANS | {"mate_teeth": 40, "centre": "10 mm"}, "centre"),
    ("bending", {"torque": "100 N"}, "torque"),
    ("bending", {"torque": "−5 N·m"}, "torque"),
    ("bending", {"face_width": "1 mm"}, "face_width"),
    ("bending", {"teeth": 8}, "teeth"),
    ("bending", {"pressure_angle_deg": 25}, "pressure_angle_deg"),
    ("bending", {"make": "drawn"}, "make"),
    ("bending", {"speed": "90000 rpm"}, "speed"),
    ("bending", {"allowable": "0 MPa"}, "allowable"),
]
