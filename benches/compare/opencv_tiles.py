"""What a user would write for a first look with OpenCV: grey decode, Laplacian, variance tile by tile."""

import sys

import cv2

cv2.setNumThreads(1)
grey = cv2.imread(sys.argv[1], cv2.IMREAD_GRAYSCALE)
laplacian = cv2.Laplacian(grey, cv2.CV_64F)
side = max(grey.shape) // 24
for top in range(0, grey.shape[0] - side + 1, side):
    print(*(f"{laplacian[top:top + side, left:left + side].var():.0f}" for left in range(0, grey.shape[1] - side + 1, side)))
