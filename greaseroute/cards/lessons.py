"""What a learner reads: each kind of joint, what goes wrong, the words, questions, sign-off.

Common practice in our own words, no source, unless a line says otherwise. The machine maker's
manual goes before all of it.
"""

from dataclasses import dataclass

from greaseroute.texts.language import DEFAULT, Language


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
        "A joint that carries a whole part of the machine: centre pins, oscillating axles, yokes.",
        "As a pin, but with the frame lock on where the machine bends in the middle. Where the "
        "card says so the machine is moved in between, for a loaded pin takes grease on one "
        "side only.",
        "The two ends of one pivot may have a fitting each: look for both.",
        "sets the frame lock unasked and names what the pivot carries",
    ),
    KindLesson(
        "ball joint",
        "A ball in a seat: blade arms, drawbars, cylinders that swing two ways.",
        "As a pin. Grease shows at the lip of the seat, often on one side first.",
        "Play when the blade is shaken: tell the workshop, grease does not mend it.",
        "names the ball joints of a dozer or grader and where their grease shows",
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
        "pinion grease bath",
        "A pinion and ring gear that run in grease in a closed housing; depth is what counts.",
        "Open the cover, look for water and drain it, read the depth, top up to the mark only.",
        "Milky grease is water; glitter is metal. Both are reported, not topped up.",
        "reads the depth and says when not to add any",
    ),
    KindLesson(
        "open gear",
        "Teeth that are seen and carry a film of grease, such as the ring of a small excavator.",
        "The listed strokes, then the teeth are turned past the fitting so that the film spreads.",
        "Stones and sand in the film: wiped off before new grease goes on.",
        "wipes first and sees to it that the film reaches all teeth",
    ),
    KindLesson(
        "universal joint",
        "A cross with four small bearings in a drive shaft. No line can be led to it.",
        "Chocks in, the shaft turned until the fitting shows, as the card says. Few strokes, "
        "slowly, low pressure.",
        "Grease at all four caps. One dry cap is reported.",
        "looks at all four caps before taking the coupler off",
    ),
    KindLesson(
        "sliding spline",
        "Two splined tubes of a drive shaft that slide in each other.",
        "Few strokes: more only pushes the plug out at the end.",
        "A little grease at the vent or the seal; a lost end plug is reported.",
        "stops at the strokes listed and checks the end plug",
    ),
    KindLesson(
        "kingpin",
        "The upright pin that a steered wheel turns on, above and below in the end of the axle.",
        "Wheels at full lock so that the fitting stands free, engine off, key out; then the "
        "other lock. Weight off the axle where the card says so, for the thrust side takes no "
        "grease under load.",
        "Fresh grease above and below. A wheel that tips in and out when pulled is reported.",
        "brings both fittings into reach and shuts the engine off before each",
    ),
    KindLesson(
        "steering rod",
        "Rods between wheels and steering, with a ball at either end.",
        "One or two strokes: the boots burst if more goes in.",
        "A torn boot or a loose ball is for the workshop, today.",
        "stops before the boot swells and feels for play",
    ),
    KindLesson(
        "steering",
        "The two ends of steering cylinders.",
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
        "Two faces that slide on each other: legs, locks, take-up screws, extending booms.",
        "Through its fitting where it has one, else a thin film on clean faces.",
        "Grit in the film grinds: wipe old grease off before new goes on.",
        "wipes first and leaves a thin film",
    ),
    KindLesson(
        "tool bushing",
        "The bushing that the tool of a breaker works in. It takes chisel paste and no other "
        "grease.",
        "The operator's job, every two hours: breaker upright and pressed on its tool. Lying "
        "down, paste fills the chamber under the piston.",
        "On the round: paste shows at the tool, a tin is in the cab.",
        "says why a breaker is never greased lying down",
    ),
    KindLesson(
        "coupling plate",
        "The plate that carries a trailer, and the kingpin that turns in it.",
        "Old grease wiped off plate and lock, then a thin coat of its own grease.",
        "Grooves, cracks, loose bolts; the lock's play goes by gauge.",
        "wipes before greasing and leaves the frame clean",
    ),
    KindLesson(
        "chain",
        "A chain that takes grease through fittings or a brush.",
        "As the card says; most chains of machines take oil and no grease.",
        "Stiff or cracked links are reported.",
        "tells a chain for oil from one for grease",
    ),
    KindLesson(
        "reservoir",
        "The tank of a central lubrication system.",
        "Filled through its own coupling, to the upper mark, with the grease that is in it.",
        "Level falling too fast is a broken line; level that never falls is a dead pump.",
        "fills without letting air or dirt in and starts one cycle by hand",
    ),
    KindLesson(
        "track tension",
        "The fitting on the track adjuster. It looks like a grease fitting and is not one.",
        "Never on a round. Tension is set as a job of its own, by the manual.",
        "Sag of the track is measured and written down.",
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

WORDS = (
    *("unit", "fitting", "coupler", "pin joint", "stroke", "cartridge", "stand"),
    *("service position", "isolation", "due", "daily checks", "crossing", "pinion grease bath"),
    "grease block",
)
"""What is explained on the first day, by the keys of the glossary."""


def glossary(say: Language) -> tuple[Word, ...]:
    """The words of the first day, in the language."""
    told = [(key, str(say.plain(f"glossary.{key}"))) for key in WORDS]
    if say.code == DEFAULT:
        return tuple(Word(key, meaning) for key, meaning in told)
    return tuple(Word(*(part.strip() for part in text.split(":", 1))) for _, text in told)


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
