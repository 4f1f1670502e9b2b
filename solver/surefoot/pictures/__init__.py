"""Pictures: a clip drawn as pose strip, track plan, gait diagram and curves, in SVG of our own.

They show what the library has worked out and compute nothing of their own beyond
the posed figure (`pictures.figure`) and the measures of the tracks (`pictures.tracks`).
"""
