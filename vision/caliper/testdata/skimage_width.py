"""Widths of a drawn bar by scikit-image's medial axis, for TestAgainstScikitImage.

    /usr/bin/python3 skimage_width.py > skimage_width.json

Needs Debian's python3-skimage. The bar: from (60, 550) to (180, 50) px, width
running evenly from 18 px at its start to 10 px at its end, white on black. The
medial axis' distance to the edge, doubled, is taken at the skeleton pixel
nearest to each place along the bar.
"""
import json
import numpy as np
import skimage
from skimage.morphology import medial_axis

ax, ay, bx, by = 60.0, 550.0, 180.0, 50.0
w0, w1 = 18.0, 10.0
length = np.hypot(bx - ax, by - ay)
ux, uy = (bx - ax) / length, (by - ay) / length
scale = 8  # drawn larger, so that whole pixels don't round the width
y, x = np.mgrid[0:600 * scale, 0:600 * scale].astype(np.float32) / scale
t = (x - ax) * ux + (y - ay) * uy
v = -(x - ax) * uy + (y - ay) * ux
mask = (t >= 0) & (t <= length) & (np.abs(v) <= (w0 + (w1 - w0) * t / length) / 2)
x0, x1, y0, y1 = 30 * scale, 210 * scale, 30 * scale, 570 * scale
skel, dist = medial_axis(mask[y0:y1, x0:x1], return_distance=True)
sy, sx = np.nonzero(skel)
out = []
for s in np.arange(0.1, 0.91, 0.1):
    px, py = (ax + s * (bx - ax)) * scale - x0, (ay + s * (by - ay)) * scale - y0
    k = np.argmin((sx - px) ** 2 + (sy - py) ** 2)
    out.append({"share": round(float(s), 2), "width_px": round(2 * float(dist[sy[k], sx[k]]) / scale, 3)})
print(json.dumps({"scikit_image": skimage.__version__, "widths": out}, indent=1))
