"""What each kind of finding is looked for with: a module a kind, called as it is, and one line in `tolerances.KINDS`.

Such a module has a function ``look``, which takes what is `seen` of a clip and the limits of its kind (note, warning
and error, in metres, radians or shares), and returns the findings.
"""
