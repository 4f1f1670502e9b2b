"""Many clips: a folder checked or planted by several processes, here or on a cluster, and taken up where it stopped."""
