"""What is published on the order of practice, and the cautions that go with every plan."""

# Recalled as these two are summed up in the literature on practice order in putting.
MIXED_ORDER = (
    "Lengths come mixed by default. Mixed order is worse while practising and better when "
    "tested later (Fazeli and others, Percept. Mot. Skills 124, 2017); Dias and Mendes (2010) "
    "found no effect in putting. The two disagree, and no size is agreed."
)

BEGINNER_ORDER = (
    "At {lengths} this golfer is still new: the same putt is repeated in blocks first, as a "
    "beginner needs some success before mixing (common practice; not tested by either study)."
)

CAUTIONS = (
    "Bending over putts strains back and wrists: stand up straight and walk about after every "
    "set, and warm up first.",
    "Stop at pain. If it comes back, see a doctor or physiotherapist before practising on.",
    "Juniors practise with an adult beside them, and no longer than they enjoy.",
    "The list is statistics from a log; a coach who sees you decides.",
)
