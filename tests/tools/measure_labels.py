"""What scikit-image says of a label image, {width, labels} in a JSON file: for each label's largest part (8 neighbours) a list of
label, area, centroid row and column, axes of the ellipse of equal second moments, solidity."""

import json
import sys

import numpy
from skimage.measure import label, regionprops

with open(sys.argv[1], encoding="utf-8") as file:
    given = json.load(file)
image = numpy.array(given["labels"], dtype=numpy.int64).reshape(-1, given["width"])
found = []
for value in numpy.unique(image[image > 0]):
    parts = regionprops(label(image == value, connectivity=2))
    part = max(parts, key=lambda p: p.area)
    found.append(
        [
            int(value),
            float(part.area),
            *(float(c) for c in part.centroid),
            float(part.axis_major_length),
            float(part.axis_minor_length),
            float(part.solidity),
        ]
    )
json.dump(found, sys.stdout)
