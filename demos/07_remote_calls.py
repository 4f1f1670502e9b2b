"""Remote calls: the same job from a script whose Python is old or has no numpy, by JSON-RPC with a server process.

The client is one file without dependencies (`surefoot rpc --client surefoot_client.py` writes a copy to put beside
a script); here it's taken from the package. Run it from anywhere: `python demos/07_remote_calls.py`.
"""

from __future__ import annotations

import sys

from surefoot.rpc.client import Client, RemoteError


def main() -> None:
    """Print what a remote check and plant tell, and what a refusal looks like."""
    with Client([sys.executable, "-m", "surefoot", "rpc"], timeout=60.0) as surefoot:
        clip = surefoot.call("clip.open", path="lamplighter")["clip"]
        print("before:", surefoot.call("check", clip=clip)["worst"])
        done = surefoot.call("plant", clip=clip, progress=lambda share, what: print(f"{share:4.0%} {what}"))
        print("after:", done["after"]["worst"])
        keys = surefoot.call("keys", clip=done["clip"], since=clip, layer=True)["channels"]
        print("on a layer:", ", ".join(f"{name} {len(curve['keys'])} keys" for name, curve in keys.items()))
        try:
            surefoot.call("plant", clip=clip, clearance="10")
        except RemoteError as refusal:
            print(f"refused ({refusal.code}):", refusal)


if __name__ == "__main__":
    main()
