"""Open formats: CSV, BVH, glTF, OpenUSD and C3D read and (but for BVH and C3D) written, by way of a mapping file.

A format is a module that holds a `form.Format` as ``FORMAT``, and one line in `FORMATS`; `opening` goes by suffix.
`mapping` says which joint, node or marker is which and holds what a format can't carry; `carry` joins nodes to
channels, `bodies` makes a rig and a clip from joints or markers.
"""

from __future__ import annotations

__all__ = ["FORMATS"]

FORMATS = [
    "native",
    "samples_csv",
    "gltf",
    "usd",
    "bvh",
    "c3d",
]
"""The modules of the formats, in the order in which ``surefoot formats`` lists them; the native one comes first."""
