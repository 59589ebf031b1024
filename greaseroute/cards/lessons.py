"""What a learner reads: each kind of joint, what goes wrong, the words, questions, sign-off.

Common practice in our own words, no source, unless a line says otherwise. The machine maker's
manual goes before all of it.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class KindLesson:
    """One kind of joint: what it is, how it is greased, what to look for, when one can do it."""

    kind: str
    what: str
    how: str
    look_for: str
    can_do: str


@dataclass(frozen=True, slots=True)
class Trouble:
    """Something that goes wrong: how it shows and what to do."""

    name: str
    shows: str
    do: str


@dataclass(frozen=True, slots=True)
class Word:
    """A word of the trade and what it means here."""

    word: str
    meaning: str


_KINDS = (
    KindLesson(
        "pin",
        "Two parts turn on a pin in a bush; the grease fills the gap and keeps dirt out.",
        "Wipe the fitting, push the coupler on straight, full strokes, watch the edge of the bush.",
        "A bead of fresh grease all round the edge. Old grease comes first and may be black.",
        "finds every pin of one machine without the drawing and counts strokes aloud",
    ),
    KindLesson(
        "pivot",
        "A joint that carries a whole part of the machine: articulation, drawbar, cylinder yoke.",
        "As a pin, but with the frame lock on where the machine bends in the middle.",
        "The two ends of one pivot may have a fitting each: look for both.",
        "sets the frame lock unasked and names what the pivot carries",
    ),
    KindLesson(
        "slew ring",
        "The ring the upperstructure turns on: balls or rollers in a race, fittings around it.",
        "The strokes listed at each fitting, then the machine is turned while you stand clear, "
        "then again. Somebody trained sits at the controls; you are the one in their sight.",
        "An even lip of grease at the seal all round. Grease in one place only does not spread.",
        "stands clear at the right place and says what the second person may do and when",
    ),
    KindLesson(
        "slew bath",
        "A pinion and ring gear that run in grease in a closed housing; depth is what counts.",
        "Open the cover, read the depth, look for water and metal, top up to the mark only.",
        "Milky grease is water; glitter is metal. Both are reported, not topped up.",
        "reads the depth and says when not to add any",
    ),
    KindLesson(
        "universal joint",
        "A cross with four small bearings in a drive shaft.",
        "Turn nothing by hand: use the fitting that shows. Few strokes, slowly, low pressure.",
        "Grease at all four caps. One dry cap is reported.",
        "looks at all four caps before taking the coupler off",
    ),
    KindLesson(
        "slip joint",
        "Two splined tubes of a drive shaft that slide in each other.",
        "Few strokes: more only pushes the plug out at the end.",
        "A little grease at the vent or the seal; a lost end plug is reported.",
        "stops at the strokes listed and checks the end plug",
    ),
    KindLesson(
        "steering",
        "The ends of steering cylinders and rods.",
        "As a pin; the wheels or the frame may have to stand straight to bring it into reach.",
        "Play in the joint: tell the workshop, grease does not mend it.",
        "feels for play with the engine off and reports it",
    ),
    KindLesson(
        "suspension",
        "Beams, struts and links that carry axles.",
        "As a pin, often low down: kneel on a mat, nothing of you under the machine.",
        "Mud packed around the joint hides a missing fitting: clean first.",
        "cleans, finds the fitting and stays out from under",
    ),
    KindLesson(
        "bearing",
        "A rolling bearing on a shaft: fans, pulleys, idlers, cranks.",
        "The listed strokes and not one more: a full bearing runs hot and loses its seal.",
        "No grease needs to show. A bearing that was hot to the hand is reported.",
        "counts strokes and stops, though nothing shows",
    ),
    KindLesson(
        "slide",
        "Two faces that slide on each other: mouldboard, take-up, extending boom.",
        "Through its fitting where it has one, else a thin film on clean faces.",
        "Grit in the film grinds: wipe old grease off before new goes on.",
        "wipes first and leaves a thin film",
    ),
    KindLesson(
        "track tension",
        "The fitting on the track adjuster. It looks like a grease fitting and is not one.",
        "Never on a round. Tension is set as a job of its own, by the manual.",
        "Sag of the track is looked at and written down.",
        "points it out on a machine and says why it is left alone",
    ),
)

_BY_KIND = {each.kind: each for each in _KINDS}

TROUBLES = (
    Trouble(
        "The fitting takes no grease",
        "The handle goes hard, or grease comes back around the coupler.",
        "Stop. No more pressure, no blow with anything. Wipe, try the coupler once more, straight. "
        "Still nothing: mark it as blocked, go on, tell the workshop.",
    ),
    Trouble(
        "Grease comes out at the wrong place",
        "It shows behind the coupler, at a cracked hose, or beside the bush.",
        "Stop, hands away. A jet of grease goes through a glove and skin: any injury of that kind "
        "goes to hospital at once, however small it looks. Change coupler or hose, not by hand "
        "under pressure.",
    ),
    Trouble(
        "Too much was pumped",
        "A seal lip turns outward, a bearing runs warm, a plug is pushed out.",
        "Write it down. Do not pump the next one short to make up for it. Wipe what came out.",
    ),
    Trouble(
        "The strokes go easily and nothing shows",
        "The handle falls through with no feeling.",
        "Air in the gun, or the cartridge is empty: look, prime it into a rag, then count anew.",
    ),
    Trouble(
        "The fitting is missing or broken off",
        "A hole, a stump, or a plug where the drawing has a number.",
        "Mark it as missing and go on. No grease through an open hole.",
    ),
    Trouble(
        "It is not the grease you know",
        "Another colour comes out, or the gun holds another grease than the card asks for.",
        "Stop before the first stroke. One gun holds one grease, ever. Ask.",
    ),
)

GLOSSARY = (
    Word("unit", "one machine on the site, by its fleet number"),
    Word("fitting", "the small nipple that the coupler of the gun goes on"),
    Word("coupler", "the jaws at the end of the hose that hold the fitting"),
    Word("pin joint", "two parts of a machine and the pin between them"),
    Word("stroke", "one full push of the gun; a half one does not count as half"),
    Word("cartridge", "the tube of grease that goes into the gun; one grease for each gun"),
    Word("stand", "the place for your feet from which a fitting is reached"),
    Word("posture", "how the machine stands: parked, or set for greasing with the tool down"),
    Word("isolation", "engine off, tool down, brake on, key out, locked and tagged by you"),
    Word("due", "the hours or days since the last greasing have used up the interval"),
    Word("look point", "something checked on the walk that takes no grease"),
    Word("crossing", "the only place where you cross a haul road on foot"),
    Word("bath", "a gear that runs in grease; its depth is read, not pumped to feel"),
    Word("bank", "a block of fittings with lines to places you could not reach"),
)

QUESTIONS = (
    "Which machine is this, and is that the number on my card?",
    "Who could start it or move it while I am here, and how did I stop that?",
    "Where do I stand, and what is above me?",
    "Which fitting is this on the drawing, and how many strokes does it get from this gun?",
    "What did I see come out, and does that tell me anything?",
    "What did I leave out, and did I write down why?",
    "Could I say where every fitting of this machine is if the card were gone?",
)


def lesson_of(kind: str) -> KindLesson:
    """The lesson of a kind of joint; a kind without one of its own is told as a pin."""
    return _BY_KIND.get(kind, _BY_KIND["pin"])
