"""One example for each English word list: that it is used, and what is read from it."""

from collections import Counter

import pytest

from rungwise.reply.lexicon import OTHER_TABLES, TALK_TABLES, VALUE_TABLES, tables

# list: (text, what is read, what was asked)
EXAMPLES: dict[str, tuple[object, ...]] = {
    "fall.verb": ("I tumbled over", {"fall": "yes", "kind": "safety_only"}),
    "fall.noun": ("no falls", {"fall": "no"}),
    "fall.phrase": ("came a cropper", {"fall": "yes"}),
    "fall.last": ("slipped my shoe on and went over", {"fall": "yes"}),
    "fall.doubt": ("tripped up", {"fall": "unsure"}),
    "fall.near": ("had a near miss", {"fall": "unsure"}),
    "fall.stance": ("12, fell out of it", {"fall": "unsure", "steadiness": "wobbly"}),
    "net.fall": ("a big splat", {"fall": "unsure"}),
    "net.loose": ("a bit shaken up", {"fall": "unsure", "kind": "safety_only"}),
    "down.verb": ("found myself by the bed on the floor", {"fall": "yes"}),
    "down.lain": ("was found by my son on the floor", {"fall": "yes"}),
    "floor.wide": ("dumped on the gravel", {"fall": "yes"}),
    "floor.hard": ("on the floor", {"fall": "yes"}),
    "slip.feel": ("feel in the bathroom", {"fall": "yes"}),
    "pain.verb": ("it hurts", {"pain": "yes"}),
    "pain.noun": ("no soreness", {"pain": "no"}),
    "pain.phrase": ("my hip is playing up", {"pain": "yes", "body_part": "hip"}),
    "pain.doubt": ("it is uncomfortable", {"pain": "unsure"}),
    "pain.none": ("20, pain free", {"pain": "no", "held": [20]}),
    "dizzy.verb": ("my head spun", {"dizzy": "yes"}),
    "dizzy.noun": ("woozy", {"dizzy": "yes"}),
    "dizzy.phrase": ("everything went black", {"dizzy": "yes"}),
    "dizzy.doubt": ("felt strange", {"dizzy": "unsure"}),
    "emergency.chest": ("chest pain", {"emergency": True, "pain": "yes", "body_part": "chest"}),
    "emergency.faint": ("I passed out", {"emergency": True, "dizzy": "yes"}),
    "emergency.up": ("can't get up", {"emergency": True, "fall": "unsure"}),
    "emergency.sign": ("can't breathe", {"emergency": True, "fall": "no"}),
    "emergency.called": ("my daughter called an ambulance", {"emergency": True}),
    "emergency.floor": ("stuck on the floor", {"emergency": True, "fall": "yes"}),
    "emergency.broken": ("I broke my wrist", {"emergency": True, "pain": "yes"}),
    "emergency.hospital": ("I was taken to hospital", {"emergency": True}),
    "question.opens": ("is 15 good?", {"held": [], "kind": "question"}),
    "call.nobody": ("fell and can't reach anyone", {"emergency": True}),
    "other.they": ("my knees, they hurt", {"pain": "yes"}),
    "down.waiting": ("waiting for help on the floor", {"fall": "yes", "emergency": True}),
    "count.about": ("20 more or less", {"held": [20], "steadiness": None}),
    "emergency.knock": ("bumped my head on the shelf, silly me. 20", {"emergency": False}),
    "emergency.harm": ("leg looks shorter", {"emergency": True}),
    "long.lie": ("lay there after I fell for two hours", {"fall": "yes"}),
    "idiom.fall": ("I fell asleep", {"fall": "no"}),
    "idiom.pain": ("a pain in the neck", {"pain": "no"}),
    "idiom.dizzy": ("dizzy with excitement", {"dizzy": "no"}),
    "idiom.emergency": ("a stroke of luck", {"emergency": False}),
    "idiom.skip": ("20, forgot to send it", {"kind": "result", "held": [20]}),
    "before.our": ("our Doris fell", {"fall": "no"}),
    "count.pressure": ("bp 130 80, then 20 steady", {"held": [20]}),
    "neg.strong": ("never fell", {"fall": "no"}),
    "neg.no": ("no pain", {"pain": "no"}),
    "neg.slight": ("hardly any pain", {"pain": "yes"}),
    "neg.doubt": ("not really dizzy", {"dizzy": "unsure"}),
    "neg.count": ("falls 0 pain 0", {"fall": "no", "pain": "no"}),
    "neg.after": ("pain: none", {"pain": "no"}),
    "scope.through": ("not in the slightest pain", {"pain": "no"}),
    "scope.or": ("no pain or dizziness", {"dizzy": "no"}),
    "scope.but": ("no pain but dizzy", {"dizzy": "yes"}),
    "scope.to_place": ("in Bexhill fell", {"fall": "yes"}),
    "scope.close": ("didn't fall but nearly", {"fall": "unsure"}),
    "scope.undone": ("no falls until today", {"fall": "yes"}),
    "near.before": ("close to a collapse", {"fall": "unsure"}),
    "near.caught": ("fell but caught myself", {"fall": "unsure"}),
    "near.felt": ("felt like I was going to fall", {"fall": "unsure"}),
    "suppose.if": ("if I fell who would come", {"fall": "no"}),
    "suppose.any": ("afraid of a fall", {"fall": "no"}),
    "suppose.fall": ("I hope I might not fall", {"fall": "no"}),
    "self.i": ("my sister came and I fell", {"fall": "yes"}),
    "self.my": ("my fall", {"fall": "yes"}),
    "other.person": ("my husband fell", {"fall": "no"}),
    "other.pronoun": ("she fell", {"fall": "no"}),
    "other.loose": ("my sister who fell", {"fall": "no"}),
    "other.where": ("Bob next door collapsed, ambulance been", {"emergency": False}),
    "other.household": ("my husband fell, ambulance called", {"emergency": True}),
    "other.market": ("the stock market took a tumble", {"fall": "no"}),
    "also.i": ("my sister fell and so did I", {"fall": "yes"}),
    "other.kin": ("mum fell", {"fall": "unsure"}),
    "other.animal": ("the dog fell", {"fall": "no"}),
    "other.thing": ("a vase fell", {"fall": "no"}),
    "other.it": ("it fell", {"fall": "no"}),
    "other.professional": ("the nurse fell", {"fall": "no"}),
    "carer.phrase": ("writing for my mother, she fell", {"fall": "yes"}),
    "carer.this": ("It's Jean's son, mum fell", {"fall": "yes"}),
    "carer.relation": ("It's Jean's daughter, mum fell", {"fall": "yes"}),
    "carer.here": ("Peter here, Dad had a dizzy turn", {"dizzy": "yes"}),
    "before.person": ("fell on the way home with my son, he is fine", {"fall": "yes"}),
    "old.long": ("fell last year", {"fall": "unsure"}),
    "old.weeks": ("fell 7 weeks ago", {"fall": "unsure"}),
    "old.recent": ("fell yesterday", {"fall": "yes"}),
    "away.place": ("grabbed the rail on the stairs", {"fall": "unsure", "steadiness": None}),
    "steady.firm": ("20 firm", {"steadiness": "steady"}),
    "steady.denied": ("20 no wobble", {"steadiness": "steady"}),
    "steady.praise": ("20 no bother", {"steadiness": "steady"}),
    "wobbly.word": ("20 shaky", {"steadiness": "wobbly"}),
    "wobbly.balance": ("lost my balance at 8", {"steadiness": "wobbly", "fall": "no"}),
    "wobbly.touch": ("20 grabbed the sink", {"steadiness": "wobbly"}),
    "wobbly.poor": ("15, not great", {"steadiness": "wobbly"}),
    "wobbly.neutral": ("hung on for 20", {"steadiness": None, "held": [20]}),
    "side.left": ("left leg 20", {"holds": [{"seconds": 20, "side": "left"}]}),
    "side.right": ("20 on the right", {"holds": [{"seconds": 20, "side": "right"}]}),
    "side.both": ("15 each side", {"holds": [{"seconds": 15, "side": "both"}]}),
    "side.other": (
        "left 20, other side 9",
        {"holds": [{"seconds": 20, "side": "left"}, {"seconds": 9, "side": "right"}]},
    ),
    "side.first": ("first leg 20", {"holds": [{"seconds": 20, "side": None}]}),
    "side.none": ("9 on the bad leg", {"holds": [{"seconds": 9, "side": None}]}),
    "notside.left": ("left home early, 20", {"holds": [{"seconds": 20, "side": None}]}),
    "notside.right": ("20 right away", {"holds": [{"seconds": 20, "side": None}]}),
    "notbody.back": ("back to 20, no pain", {"body_part": None, "held": [20]}),
    "unit.seconds": ("20 secs", {"held": [20]}),
    "unit.minutes": ("1 min 10", {"held": [70]}),
    "unit.half": ("12 and a half", {"held": [12.5]}),
    "unit.point": ("nine point five", {"held": [9.5]}),
    "count.after": ("12 layers", {"held": []}),
    "count.before": ("day 12", {"held": []}),
    "count.aged_at": ("doing this at 84! 15", {"held": [15]}),
    "count.past": ("yesterday 12 today 15", {"held": [15]}),
    "count.label": ("set 2: 15", {"held": [15]}),
    "count.ordinal": ("second try 14", {"held": [14]}),
    "count.try": ("20, second go 15", {"held": [20, 15]}),
    "count.am": ("I'm 84, held 12", {"held": [12]}),
    "count.brief": ("20 with a 3 second wobble", {"held": [20]}),
    "count.compared": ("17, 5 seconds longer", {"held": [17]}),
    "count.clock": ("at 10 this morning", {"held": []}),
    "count.day_words": ("church at 10", {"held": []}),
    "count.stopped_at": ("stopped at 10 this morning", {"held": [10]}),
    "count.hold_words": ("held for 84", {"held": [84]}),
    "count.activity": ("walked for 3 minutes", {"held": []}),
    "join.range": ("12 to 15", {"held": [12]}),
    "join.between": ("between 12 and 15", {"held": [12]}),
    "join.out_of": ("12 out of 20", {"held": [12]}),
    "join.over": ("bp 130 over 80", {"held": []}),
    "join.times": ("3 x 20", {"held": [20, 20, 20]}),
    "join.and": ("20 and 15", {"held": [20, 15]}),
    "join.swap": ("20 sorry 25", {"held": [25]}),
    "unit.whole": ("thirty whole seconds", {"held": [30]}),
    "join.wait": ("20, strike that, 15", {"held": [15]}),
    "join.grown": ("improved from 12 to 18", {"held": [18]}),
    "join.less": ("a minute less 10 secs", {"held": [50]}),
    "order.left": (
        "L/R 20/15",
        {"holds": [{"seconds": 20, "side": "left"}, {"seconds": 15, "side": "right"}]},
    ),
    "order.right": (
        "right and left 20 and 15",
        {"holds": [{"seconds": 20, "side": "right"}, {"seconds": 15, "side": "left"}]},
    ),
    "swap.sides": (
        "left 20, right 15. Other way round",
        {"holds": [{"seconds": 20, "side": "right"}, {"seconds": 15, "side": "left"}]},
    ),
    "wobbly.lasted": ("hung on 15", {"held": [15], "steadiness": None}),
    "down.unknown": (
        "fell in the hall, no idea how long I lay there",
        {"fall": "yes", "emergency": True},
    ),
    "join.not": ("25 not 20", {"held": [25]}),
    "set.twice": ("20 twice", {"held": [20, 20]}),
    "set.thrice": ("20 three times", {"held": [20, 20, 20]}),
    "keyword.opt_out": ("QUIT", {"kind": "opt_out"}),
    "keyword.opt_in": ("UNSTOP", {"kind": "opt_in"}),
    "keyword.help": ("INFO", {"kind": "help"}),
    "whole.skip": ("tomorrow", {"kind": "skipped"}),
    "opt_out.plain": ("take me off this list", {"kind": "opt_out"}),
    "opt_out.never": ("please don't stop texting me", {"kind": "other"}),
    "opt_in.plain": ("start texting me again", {"kind": "opt_in"}),
    "help.plain": ("help me", {"kind": "help"}),
    "help.with_it": ("I need help with this one", {"kind": "question"}),
    "skip.phrase": ("no time today", {"kind": "skipped"}),
    "skip.last": ("sorry, I didn't", {"kind": "skipped"}),
    "skip.later": ("will do it after lunch", {"kind": "skipped", "later": True}),
    "done.phrase": ("all done", {"kind": "result", "held": [], "steadiness": None}),
    "done.full": ("held the whole time", {"kind": "result", "to_target": True}),
    "same.phrase": ("same as yesterday", {"kind": "result", "same_as_before": True}),
    "fix.phrase": ("sorry 15", {"correction": True, "held": [15]}),
    "question.word": ("which foot goes first", {"kind": "question"}),
    "question.not": ("what a day", {"kind": "other"}),
    "yes.word": ("yep", {"fall": "yes", "yes_no": "yes"}, "fall_yes_no"),
    "no.word": ("nope", {"fall": "no", "yes_no": "no"}, "fall_yes_no"),
    "partly.phrase": ("a little bit", {"dizzy": "yes"}, "dizzy_yes_no"),
    "partly.slip": ("that was autocorrect", {"fall": "no"}, "fall_yes_no"),
    "partly.often": ("mainly mornings", {"pain": "yes"}, "pain_yes_no"),
    "partly.when": ("only when I go upstairs", {"pain": "yes"}, "pain_yes_no"),
    "partly.only": ("no, only when I bend", {"pain": "unsure", "yes_no": "no"}, "pain_yes_no"),
    "partly.doubt": ("perhaps", {"fall": "unsure"}, "fall_yes_no"),
    "partly.granted": ("the answer is yes", {"fall": "yes"}, "fall_yes_no"),
    "partly.almost": ("almost", {"fall": "unsure"}, "fall_yes_no"),
    "accept.yes": ("that works", {"yes_no": "yes"}, "retest"),
    "accept.no": ("can't make it", {"yes_no": "no"}, "retest"),
    "polite.word": ("stop thank you", {"kind": "opt_out"}),
    "effort.too_hard": ("too hard for me", {"effort": "too_hard"}),
    "effort.too_easy": ("give me a harder one", {"effort": "too_easy"}),
    "topic.other": ("the weather is good", {"kind": "other"}),
    "exercise.during": (
        "fell doing the exercise, got to 7",
        {"held": [7], "steadiness": "wobbly", "fall": "yes"},
    ),
    "exercise.word": ("no bother indoors", {"kind": "result", "steadiness": "steady"}),
}


def lists(language: str) -> list[str]:
    known = tables(language)
    return [
        f"{table}.{key}"
        for table in known
        if table not in OTHER_TABLES | TALK_TABLES
        and (table not in VALUE_TABLES or table == "side")
        for key in known[table]
    ]


@pytest.mark.parametrize("language", ["en", "es"])
def test_no_list_says_a_thing_twice(language: str) -> None:
    twice = {
        f"{table}.{key}": said
        for table, keys in tables(language).items()
        for key, listed in keys.items()
        if (said := [one for one, times in Counter(map(str, listed)).items() if times > 1])
    }
    assert twice == {}


def test_every_list_has_an_example() -> None:
    assert set(lists("en")) == set(EXAMPLES)


@pytest.mark.parametrize("tag", sorted(EXAMPLES))
def test_the_list_is_used(tag: str, check_list) -> None:
    table = tag.partition(".")[0]
    check_list("en", table if table == "side" else tag, *EXAMPLES[tag])
