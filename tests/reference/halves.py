"""Looks at written halves with an independent library: are they closed, wound alike, and how large?

Needs numpy and trimesh. Usage: python3 tests/reference/halves.py [PROGRAM]
Rewrites tests/data/halves_reference.json, against which tests/body.rs holds the halves.
"""

import json
import pathlib
import subprocess
import sys
import tempfile

import trimesh

ROOT = pathlib.Path(__file__).resolve().parents[2]
PROGRAM = sys.argv[1] if len(sys.argv) > 1 else str(ROOT / "target/release/moldvet")
BODIES = {
    "spot": (ROOT / "tests/data/spot/spot-body.stl", ["--pull", "+z"]),
    "acorn": (ROOT / "sample-models/acorn-candle.stl", []),
}


def halves(body, options):
    with tempfile.TemporaryDirectory() as folder:
        command = [PROGRAM, "body", "--units", "mm", "--ball", "6", "--stickout", "60", "--cell", "0.3", "--quiet"]
        command += ["--write-halves", f"{folder}/half", *options, str(body)]
        status = subprocess.run(command, check=False).returncode
        assert status in (0, 1), status
        solid = trimesh.load(str(body))
        total = 0.0
        found = {}
        for name in ("lower", "upper"):
            mesh = trimesh.load(f"{folder}/half-{name}.stl")
            assert mesh.is_watertight and mesh.is_winding_consistent and mesh.is_volume, name
            assert mesh.body_count == 1, name
            total += mesh.bounding_box_oriented.volume - mesh.volume
            found[name] = {
                "watertight": bool(mesh.is_watertight),
                "winding_consistent": bool(mesh.is_winding_consistent),
                "triangles": len(mesh.faces),
                "euler_number": int(mesh.euler_number),
                "volume_mm3": round(float(mesh.volume), 4),
                "area_mm2": round(float(mesh.area), 4),
            }
        # what both blocks lack is the body
        assert abs(total / solid.volume - 1) < 1e-4, (total, solid.volume)
        return found


reference = {name: halves(*body) for name, body in BODIES.items()}
path = ROOT / "tests/data/halves_reference.json"
path.write_text(json.dumps(reference, indent=1) + "\n")
print(json.dumps(reference, indent=1))
