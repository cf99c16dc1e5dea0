"""Times the same work here and in the general-purpose stack, in turn; prints medians and ratios.

Usage: ratios.py W1.stl TIME_STAGES [ROUNDS]

- load: the file read and its corners merged (trimesh), or read, welded and its bodies found (here);
- heightfield: the highest crossing of each of 4 million grid lines, with what must be built before
  (trimesh with Embree's ray caster: first hit from above), or columns with all crossings (here);
- closing: grey-scale closing of that heightfield by a ball of 32 cells, as a non-flat structuring element (scipy), or the
  centre surface of the ball from the mesh and back (here).

scipy's closing of the whole field takes minutes: it is timed on an eighth of the rows and multiplied, as its time is linear in cells.
"""

import statistics
import subprocess
import sys
import time

import numpy as np
import trimesh
from scipy import ndimage

CELL, CELLS, ROWS = 0.05, 32, 8


def ball(cells):
    """Heights of a ball's lower side, and which cells it covers."""
    d = np.arange(-cells, cells + 1)
    square = d[:, None] ** 2 + d[None, :] ** 2
    inside = square <= cells * cells
    return CELL * np.sqrt(np.where(inside, cells * cells - square, 0)), inside


def general(path):
    """One round of the general-purpose stack: seconds by name, and the heights."""
    times = {}
    start = time.perf_counter()
    mesh = trimesh.load(path, process=True)
    times["load"] = time.perf_counter() - start
    (x0, y0, _), (x1, y1, top) = mesh.bounds
    xs = np.arange(x0 + 0.5 * CELL, x1, CELL)
    ys = np.arange(y0 + 0.5 * CELL, y1, CELL)
    start = time.perf_counter()
    caster = trimesh.ray.ray_pyembree.RayMeshIntersector(mesh)
    gx, gy = np.meshgrid(xs, ys)
    origins = np.column_stack([gx.ravel(), gy.ravel(), np.full(gx.size, top + 1.0)])
    directions = np.broadcast_to([0.0, 0.0, -1.0], origins.shape)
    hit = caster.intersects_first(origins, directions)
    normal, corner = mesh.face_normals[hit], mesh.triangles[hit][:, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        heights = corner[:, 2] - (
            normal[:, 0] * (origins[:, 0] - corner[:, 0])
            + normal[:, 1] * (origins[:, 1] - corner[:, 1])
        ) / normal[:, 2]
    times["heightfield"] = time.perf_counter() - start
    heights[hit < 0] = -1e3
    heights = heights.reshape(gx.shape).astype(np.float32)
    part = heights[: len(ys) // ROWS]
    structure, footprint = ball(CELLS)
    start = time.perf_counter()
    ndimage.grey_closing(part, footprint=footprint, structure=structure.astype(np.float32))
    times["closing"] = (time.perf_counter() - start) * len(ys) / len(part)
    return times


def own(path, stages):
    """One round of this project: seconds by name."""
    out = subprocess.run([stages, path], check=True, capture_output=True, text=True).stdout
    return {name: float(value) for name, value in (line.split("\t") for line in out.splitlines())}


def main():
    path, stages = sys.argv[1:3]
    rounds = int(sys.argv[3]) if len(sys.argv) > 3 else 5
    theirs, ours = [], []
    for _ in range(rounds):
        theirs.append(general(path))
        ours.append(own(path, stages))
    wanted = {"heightfield": 30, "closing": 60}
    print(f"W1, medians of {rounds}: general-purpose s, here s, ratio, wanted")
    for name in ["load", "heightfield", "closing"]:
        a = statistics.median(r[name] for r in theirs)
        b = statistics.median(r[name] for r in ours)
        print(f"{name:12} {a:8.3f} {b:8.4f} {a / b:8.1f} {wanted.get(name, '')}")


main()
