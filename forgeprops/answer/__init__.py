"""The main job: evaluation, interval, warnings and the result."""
