"""Out of process: JSON-RPC 2.0 over standard input and output, for hosts whose Python is old or has no numpy.

**Framing.** One message a line: JSON in UTF-8 without a byte order mark, ended by a line feed, with none inside. A
carriage return before it and empty lines are let pass. A line longer than the limit (32 MiB unless stated) is read
away and answered with *invalid request*; the next line is a new message.

**Order.** Calls are answered in their order, one after the other. ``cancel`` alone is heard at once, whatever
runs or waits: what waits never begins; a check, plant or propose that runs stops within a moment; what is nearly
done, or only opens or hands out, may still be answered with its result. The end of the input ends the server once
all that came before is answered.

**A deck.** ``deck.load`` reads how a lift or a boat's deck moves and gives its handle; ``aboard`` in ``check``,
``propose`` and ``plant`` takes that, or the name of a space of the clip. Ground, belt and findings are then the deck's,
and the clips that come back are in the world as before.

**Errors.** The standard's codes: -32700 no JSON, -32600 no request, -32601 no such method, -32602 wrong parameters or
wrong input in them, -32603 a fault in here. Of our own: 1 cancelled, 2 too much is waiting, 3 the job can't be done.
``data`` holds the kind and the place of an input error, and the names that are known.

`surefoot.rpc.client` is a client in a single file; it runs on Python 3.7 and later with nothing installed.
"""

from __future__ import annotations

__all__: list[str] = []
