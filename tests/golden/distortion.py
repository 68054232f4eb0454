"""Writes distortion.csv: points distorted by OpenCV's projectPoints, with the coefficients of the calibration chapter of its manual.

In an environment of its own: pip install opencv-python-headless numpy; python distortion.py > distortion.csv
OpenCV orders the coefficients k1, k2, p1, p2, k3. The camera matrix is the identity, so that what comes out is on the plane at distance 1.
"""

import cv2
import numpy as np

MODELS = [
    (-0.02, 0.004, 0.0, 0.0, 0.0),
    (-0.21, 0.05, -0.004, 0.0, 0.0),
    (0.12, -0.03, 0.002, 0.0, 0.0),
    (-0.02, 0.004, 0.0, 0.0015, -0.0021),
    (-0.18, 0.07, -0.01, -0.003, 0.002),
    (0.0, 0.0, 0.0, 0.004, 0.003),
]
POINTS = [(0.0, 0.0), (0.1, 0.0), (0.0, -0.2), (0.3, 0.2), (-0.35, 0.28), (-0.52, -0.39), (0.52, -0.39)]

print(f"# OpenCV {cv2.__version__}, projectPoints; written by distortion.py")
print("k1,k2,k3,p1,p2,x,y,distorted_x,distorted_y")
for k1, k2, k3, p1, p2 in MODELS:
    for x, y in POINTS:
        (at,), _ = cv2.projectPoints(
            np.array([[x, y, 1.0]]), np.zeros(3), np.zeros(3), np.eye(3), np.array([k1, k2, p1, p2, k3])
        )
        print(",".join(repr(float(n)) for n in (k1, k2, k3, p1, p2, x, y, at[0][0], at[0][1])))
