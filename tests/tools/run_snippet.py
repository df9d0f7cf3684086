"""Runs snippets of Python from a page of the documentation in folders of deliveries and prints the `worlds` that they make, a list a job:
[[[name, [16 numbers by columns]], ..], ..]. Argument: a JSON file with the jobs, [[folder, [file with a snippet, ..]], ..]; the snippets
of a job run one after another in one scope, jobs know nothing of each other."""

import json
import os
import sys

import numpy as np


def worlds(folder, paths):
    os.chdir(folder)
    scope = {}
    for path in paths:
        with open(path, encoding="utf-8") as file:
            exec(compile(file.read(), path, "exec"), scope)
    return [[name, np.asarray(matrix, float).T.reshape(-1).tolist()] for name, matrix in scope["worlds"]]


with open(sys.argv[1], encoding="utf-8") as file:
    jobs = json.load(file)
json.dump([worlds(folder, paths) for folder, paths in jobs], sys.stdout)
