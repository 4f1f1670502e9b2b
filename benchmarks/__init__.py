"""Timings of the main job, as medians and as ratios to reference solvers in the same run."""
