"""The remote methods: rigs, clips, grounds and decks held by handle, and the library called on them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

import msgspec

from surefoot._version import __version__
from surefoot.checking import Report, check
from surefoot.clip import Clip
from surefoot.clip_file import clip_bytes, parse_clip
from surefoot.commands.as_json import aboard_json, comparison_json, proposal_json, report_json
from surefoot.commands.job import clip_path, rig_of
from surefoot.deck import Deck, aboard, ashore, name_of
from surefoot.errors import InputError, UnknownName
from surefoot.formats.deck_file import load_deck, parse_deck
from surefoot.formats.opening import Opened, open_clip
from surefoot.ground import Flat, Ground
from surefoot.ground_file import load_ground, parse_ground
from surefoot.host.writing import explicit
from surefoot.layer import layer_between
from surefoot.letting import let_down
from surefoot.planting import Planted, plant
from surefoot.proposals import Proposal, apply_proposals, propose
from surefoot.rig import Rig
from surefoot.rig_file import load_rig, parse_rig, preset_names
from surefoot.rpc import wishes
from surefoot.travel import rooted

__all__ = ["METHODS", "Desk", "Tell"]

Table = dict[str, Any]
Tell = Callable[[float, str], None]
Held = TypeVar("Held")

MOST_HELD = 256
"""Rigs, clips, grounds and decks held at a time, of each kind."""
MOST_FRAMES = 200_000
"""Frames of a clip that is opened, over two hours at 24 a second; longer ones are split."""
LEVEL = Flat(0.0)


class Method(NamedTuple):
    """One remote method: the parameters that it takes, and what it does."""

    wish: type[wishes.Wish]
    run: Callable[[Desk, Any, Tell], Table]


class Desk:
    """What one client has loaded and opened. Nothing is shared between two desks."""

    def __init__(self) -> None:
        self._rigs: dict[str, Rig] = {}
        self._grounds: dict[str, Ground] = {}
        self._decks: dict[str, Deck] = {}
        self._clips: dict[str, Clip] = {}
        self._paths: dict[str, Path] = {}
        self._fitted: dict[str, Rig] = {}
        self._proposals: dict[str, tuple[Clip, Rig, tuple[Proposal, ...]]] = {}
        self._count = 0

    def _hold(self, held: dict[str, Held], kind: str, value: Held) -> str:
        if len(held) >= MOST_HELD:
            more = "; close one with clip.close" if kind == "clip" else ""
            raise InputError(f"{MOST_HELD} are held, the most that there may be{more}", place=f"{kind}s")
        self._count += 1
        handle = f"{kind}-{self._count}"
        held[handle] = value
        return handle

    def _clip(self, handle: str, place: str) -> Clip:
        if handle not in self._clips:
            raise UnknownName("open clip", handle, self._clips, place=place)
        return self._clips[handle]

    def _made(self, clip: Clip, source: str) -> str:
        """Hold a clip that was made from the open clip ``source``; its rig is looked for beside the same file."""
        handle = self._hold(self._clips, "clip", clip)
        if source in self._paths:
            self._paths[handle] = self._paths[source]
        if source in self._fitted:
            self._fitted[handle] = self._fitted[source]
        return handle

    def _rig(self, wish: wishes.Check, clip: Clip) -> Rig:
        """Return the rig by which a clip is read: with a root above it where the clip travels on one of its own."""
        return rooted(self._named_rig(wish, clip), clip)

    def _named_rig(self, wish: wishes.Check, clip: Clip) -> Rig:
        """Return the rig that is named, else the clip's own: its file's, a preset, or a file beside the clip's."""
        if not wish.rig and wish.clip in self._fitted:
            return self._fitted[wish.clip]
        if not wish.rig and clip.rig and wish.clip in self._paths:
            return rig_of(clip, self._paths[wish.clip])
        name = wish.rig or clip.rig
        if name in self._rigs:
            return self._rigs[name]
        if name in preset_names():
            return load_rig(name)
        if not name:
            raise InputError("the clip names no rig; name one, or load one with rig.load", place="params.rig")
        raise UnknownName("loaded rig or preset", name, [*self._rigs, *preset_names()], place="params.rig")

    def _ground(self, handle: str) -> Ground:
        if not handle:
            return LEVEL
        if handle not in self._grounds:
            raise UnknownName("loaded ground", handle, self._grounds, place="params.ground")
        return self._grounds[handle]

    def _aboard(self, wish: wishes.Check, clip: Clip, rig: Rig) -> tuple[Clip, Rig, str]:
        """Return clip and rig as seen from the deck that the feet stand on, and its name; as they are without one."""
        if not wish.aboard:
            return clip, rig, ""
        deck = self._decks.get(wish.aboard, wish.aboard)
        if isinstance(deck, str) and deck not in clip.spaces:
            known = [*self._decks, *clip.spaces]
            raise UnknownName("loaded deck or space of the clip", deck, known, place="params.aboard")
        try:
            return *aboard(clip, rig, deck), name_of(deck)
        except InputError as error:
            raise error.within("params.aboard") from None

    # the methods

    def about(self, _wish: wishes.About, _tell: Tell) -> Table:
        """Tell the version, and the methods with their parameters."""
        listed = {
            name: {"does": method.run.__doc__, "params": list(method.wish.__struct_fields__)}
            for name, method in METHODS.items()
        }
        return {"surefoot": __version__, "methods": listed, "rigs": preset_names()}

    def rig_load(self, wish: wishes.RigLoad, _tell: Tell) -> Table:
        """Load a rig; its handle, and the channels that it reads."""
        _one_of(wish, "rig", "text")
        rig = load_rig(wish.rig) if wish.rig else parse_rig(wish.text, place="params.text")
        handle = self._hold(self._rigs, "rig", rig)
        needed = {name: not axis.optional for name, axis in rig.channels().items()}
        orders = {name: control.order for name, control in rig.controls.items()}
        return {"rig": handle, "name": rig.name, "leg": rig.leg, "channels": needed, "orders": orders}

    def ground_load(self, wish: wishes.GroundLoad, _tell: Tell) -> Table:
        """Load a ground; its handle."""
        _one_of(wish, "path", "text")
        ground = load_ground(wish.path) if wish.path else parse_ground(wish.text, place="params.text")
        return {"ground": self._hold(self._grounds, "ground", ground), "name": ground.name}

    def deck_load(self, wish: wishes.DeckLoad, _tell: Tell) -> Table:
        """Load a deck's motion; its handle, for `aboard` in check, propose and plant."""
        _one_of(wish, "path", "text")
        deck = load_deck(wish.path) if wish.path else parse_deck(wish.text, place="params.text")
        return {"deck": self._hold(self._decks, "deck", deck), "name": deck.name}

    def clip_open(self, wish: wishes.ClipOpen, _tell: Tell) -> Table:
        """Open a clip; its handle, range, rate and channels."""
        _one_of(wish, "path", "clip")
        path = clip_path(wish.path) if wish.path else None
        if path is None:
            opened = Opened(parse_clip(msgspec.json.encode(wish.clip), place="params.clip"))
        else:
            opened = open_clip(path, mapping=wish.map or None)
        clip = opened.clip
        if clip.frames > MOST_FRAMES:
            raise InputError(f"{clip.frames} frames; at most {MOST_FRAMES} are taken", place=f"params: {clip.name}")
        handle = self._hold(self._clips, "clip", clip)
        if path is not None:
            self._paths[handle] = path
        if opened.rig is not None:
            self._fitted[handle] = opened.rig
        return {
            "clip": handle,
            "name": clip.name,
            "first": clip.first,
            "last": clip.last,
            "rate": str(clip.rate),
            "loop": clip.loop,
            "rig": clip.rig,
            "channels": list(clip.channels),
        }

    def clip_close(self, wish: wishes.ClipClose, _tell: Tell) -> Table:
        """Let a clip go, with its proposals."""
        self._clip(wish.clip, "params.clip")
        del self._clips[wish.clip]
        self._paths.pop(wish.clip, None)
        self._fitted.pop(wish.clip, None)
        self._proposals.pop(wish.clip, None)
        return {"open": list(self._clips)}

    def check(self, wish: wishes.Check, tell: Tell) -> Table:
        """Say what is wrong with the feet."""
        clip, rig, report, deck = self._checked(wish, tell)
        tell(1.0, "done")
        return {"clip": clip.name, "rig": rig.name, **aboard_json(deck), **report_json(report)}

    def _checked(self, wish: wishes.Check, tell: Tell) -> tuple[Clip, Rig, Report, str]:
        clip = wishes.stated_clip(self._clip(wish.clip, "params.clip"), wish)
        clip, rig, deck = self._aboard(wish, clip, self._rig(wish, clip))
        tell(0.1, "checking")
        report = check(
            clip, rig, ground=self._ground(wish.ground), belt=wishes.belt_of(wish), landing=wish.landing,
            tolerances=wishes.tolerances_of(wish, rig),
        )  # fmt: skip
        return clip, rig, report, deck

    def plant(self, wish: wishes.Plant, tell: Tell) -> Table:
        """Plant the feet; the handle of the new clip, what changed, and the findings before and after."""
        own = wishes.stated_clip(self._clip(wish.clip, "params.clip"), wish)
        own = replace(own, locked=own.locked | {self._channel(own, name, "params.locked") for name in wish.locked})
        clip, rig, deck = self._aboard(wish, own, self._rig(wish, own))
        ground, belt = self._ground(wish.ground), wishes.belt_of(wish)
        before = self._clip(wish.before, "params.before") if wish.before else None
        if before is not None:
            before, _, _ = self._aboard(wish, before, self._rig(wish, own))
        settings, tolerances = wishes.plant_settings(wish, clip), wishes.tolerances_of(wish, rig)

        def planted_of(some: Clip) -> Planted:
            return plant(some, rig, ground=ground, belt=belt, before=before, **settings)

        def judged(some: Clip, on: Planted) -> Report:
            return check(some, rig, ground=ground, belt=on.belt, tolerances=tolerances, landing=wish.landing)

        lowered = clip
        if wish.let:
            tell(0.05, "lowering what is let")
            lowered, _ = let_down(
                clip, rig, wish.let, plant=planted_of, ground=ground, tolerances=tolerances, keys=wish.keys,
                keys_at=wish.keys_at,
            )  # fmt: skip
        tell(0.3, "planting")
        planted = planted_of(lowered)
        tell(0.7, "checking")
        first, after = judged(clip.with_stances(planted.stances), planted), judged(planted.clip, planted)
        tell(1.0, "done")
        changed = tuple(n for n, curve in planted.clip.channels.items() if curve is not clip.channels.get(n))
        table = comparison_json(clip, planted, first, after, []) | {"changed": list(changed), **aboard_json(deck)}
        del table["written"]
        return table | {"name": table["clip"], "clip": self._made(ashore(planted.clip, own), wish.clip)}

    @staticmethod
    def _channel(clip: Clip, name: str, place: str) -> str:
        clip.curve(name, place=place)
        return name

    def propose(self, wish: wishes.Check, tell: Tell) -> Table:
        """List the ways to mend each finding, cheapest first; each with a name that `accept` takes."""
        clip, rig, report, _ = self._checked(wish, tell)
        tell(0.3, "proposing")
        ways = propose(clip, rig, ground=self._ground(wish.ground), landing=wish.landing, report=report)
        tell(1.0, "done")
        self._proposals[wish.clip] = (clip, rig, ways)
        listed = [{"proposal": f"{wish.clip}/{i}", **proposal_json(way)} for i, way in enumerate(ways, start=1)]
        return {"proposals": listed}

    def accept(self, wish: wishes.Accept, _tell: Tell) -> Table:
        """Apply proposals of the latest `propose` for one clip; the handle of the new clip."""
        found = [self._proposal(name) for name in wish.proposals]
        clips = {handle for handle, _ in found}
        if len(clips) != 1:
            told = f"those of {len(clips)} clips" if clips else "none"
            raise InputError(f"wanted one or more proposals for one clip, got {told}", place="params.proposals")
        handle = clips.pop()
        clip, rig, _ = self._proposals[handle]
        ways = [way for _, way in found]
        changed = ashore(apply_proposals(clip, rig, ways, let=wish.let), self._clips[handle])
        names = list(dict.fromkeys(name for way in ways for name in way.channels))
        return {"clip": self._made(changed, handle), "changed": names, "ways": [way.way for way in ways]}

    def _proposal(self, name: str) -> tuple[str, Proposal]:
        """Return the clip's handle and the proposal of a name that `propose` gave."""
        handle, _, number = name.partition("/")
        _, _, ways = self._proposals.get(handle, (None, None, ()))
        if not number.isdecimal() or not 1 <= int(number[:9]) <= len(ways):
            names = [f"{clip}/{i + 1}" for clip, (_, _, some) in self._proposals.items() for i in range(len(some))]
            raise UnknownName("proposal", name[:80], names, place="params.proposals")
        return handle, ways[int(number[:9]) - 1]

    def keys(self, wish: wishes.Keys, _tell: Tell) -> Table:
        """Give a clip's keys as a clip's file has them, in the clip's own units."""
        clip = self._clip(wish.clip, "params.clip")
        names = list(clip.channels) if wish.channels is None else wish.channels
        for name in names:
            clip.curve(name, place="params.channels")
        shown = clip
        if wish.since:
            since = self._clip(wish.since, "params.since")
            names = [name for name in names if clip.channels[name] is not since.channels.get(name)]
            shown = layer_between(since, clip) if wish.layer else clip
        elif wish.layer:
            raise InputError("a layer is the difference from another clip; name it under since", place="params.layer")
        if not names:
            return {"channels": {}, "replaced": []}
        picked = {n: explicit(shown.channels[n]) if wish.slopes else shown.channels[n] for n in names}
        table = msgspec.json.decode(clip_bytes(replace(shown, channels=picked, spaces={})))
        return {"channels": table["channels"], "replaced": [n for n in shown.extra.get("replaced", ()) if n in names]}


def _one_of(wish: wishes.Wish, *fields: str) -> None:
    if sum(bool(getattr(wish, field)) for field in fields) != 1:
        raise InputError(f"give either {' or '.join(fields)}", place="params")


METHODS = {
    "about": Method(wishes.About, Desk.about),
    "rig.load": Method(wishes.RigLoad, Desk.rig_load),
    "ground.load": Method(wishes.GroundLoad, Desk.ground_load),
    "deck.load": Method(wishes.DeckLoad, Desk.deck_load),
    "clip.open": Method(wishes.ClipOpen, Desk.clip_open),
    "clip.close": Method(wishes.ClipClose, Desk.clip_close),
    "check": Method(wishes.Check, Desk.check),
    "plant": Method(wishes.Plant, Desk.plant),
    "propose": Method(wishes.Check, Desk.propose),
    "accept": Method(wishes.Accept, Desk.accept),
    "keys": Method(wishes.Keys, Desk.keys),
}
"""Every method but `cancel`, which the server hears itself."""
