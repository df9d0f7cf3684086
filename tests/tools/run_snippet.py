"""Runs snippets of Python from a page of the documentation in the folder of a delivery and prints the `worlds` that they make:
[[name, [16 numbers by columns]], ..]. Arguments: folder, then files with snippets, run one after another."""

import json
import os
import sys

import numpy as np

texts = []
for path in sys.argv[2:]:
    with open(path, encoding="utf-8") as file:
        texts.append((path, file.read()))
os.chdir(sys.argv[1])
scope = {}
for path, text in texts:
    exec(compile(text, path, "exec"), scope)
found = [[name, np.asarray(matrix, float).T.reshape(-1).tolist()] for name, matrix in scope["worlds"]]
sys.stdout.write(json.dumps(found))
