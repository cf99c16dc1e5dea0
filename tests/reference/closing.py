"""Reference values for tests/closing_reference.rs: grey-scale closing of sampled heights by a ball.

Independent of the Rust code: scipy.ndimage.grey_closing with a ball-shaped structuring function.
Run once with `python tests/reference/closing.py > tests/data/closing_reference.json`
(needs numpy and scipy; the versions used are written into the file).
"""

import json
import platform
import re

import numpy as np
import scipy
from scipy import ndimage

CELLS = 96
CELL = 0.1
RADIUS = 1.37
BORDER = 28  # twice the ball's radius in cells: farther in, the edge of the grid has no say
STEP = 4

# cell (i, j) has its centre at CELL * (i + 0.5, j + 0.5); rows run along y
centres = CELL * (np.arange(CELLS) + 0.5)
x, y = np.meshgrid(centres, centres)

FIELDS = {
    "waves": 0.8 * np.sin(1.3 * x) * np.cos(1.1 * y) + 0.3 * np.sin(2.9 * x + 0.7 * y),
    "round pocket": np.clip(4.0 * (np.hypot(x - 4.6, y - 4.9) - 1.6), -2.0, 0.0),
    "grooves": 0.7 * np.abs(np.mod(0.8 * x + 0.6 * y, 1.6) - 0.8) - 0.2 * x,
}

reach = int(RADIUS / CELL)
u = CELL * np.arange(-reach, reach + 1)
d2 = u[:, None] ** 2 + u[None, :] ** 2
disc = d2 <= RADIUS**2
ball = np.sqrt(np.where(disc, RADIUS**2 - d2, 0.0))

result = {
    "made_with": {
        "python": platform.python_version(),
        "numpy": np.__version__,
        "scipy": scipy.__version__,
    },
    "cells": CELLS,
    "cell_mm": CELL,
    "radius_mm": RADIUS,
    "border": BORDER,
    "step": STEP,
    "closings": {},
}
for name, z in FIELDS.items():
    closed = ndimage.grey_closing(z, footprint=disc, structure=ball)
    inner = closed[BORDER : CELLS - BORDER : STEP, BORDER : CELLS - BORDER : STEP]
    result["closings"][name] = [[round(float(v), 9) for v in row] for row in inner]

# one row of values a line
text = json.dumps(result, indent=1)
print(re.sub(r"\[\s+(-?\d[^\[\]]*)\]", lambda m: "[" + " ".join(m[1].split()) + "]", text))
