"""Open formats: CSV, BVH, glTF, OpenUSD and C3D read and (but for BVH and C3D) written, by way of a mapping file.

A module a format; `mapping` says which joint, node or marker is which and holds what a format can't carry;
`carry` joins nodes to channels, `bodies` makes a rig and a clip from joints or markers, `opening` goes by suffix.
"""
