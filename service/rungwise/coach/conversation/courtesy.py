"""Thanks, greetings and the like: words that want a kind answer and mean nothing else."""

import re
from collections.abc import Mapping

_WORDS: Mapping[str, Mapping[str, str]] = {
    "en": {
        "thanks": r"(ok |oh |and |well )?(thank ?(s|you|yuh|ye)?( (so|very) much| kindly| again"
        r"| a lot"
        r"| heaps| ever so much| a million| for (?!nothing).{3,40})*|ta|ta very much|cheers|tanks"
        r"|much (obliged|appreciated)|appreciate (it|you|that)|very kind( of you)?|how kind"
        r"|you('?re| are) (a (star|gem|dear|treasure|love|angel|saint|marvel|card|good .*)"
        r"|very kind"
        r"|too kind|most kind|so kind|the best|welcome)|(may )?(god |the lord |lord )?bless( (you"
        r"|u|ya"
        r"|your heart|you all|y'?all))?( for .{3,40})?|(many|most) thanks|lovely( thanks)?"
        r"|that('s| is) (kind|sweet|nice|lovely|good)( of you)?)",
        "sorry": r"(so |i'?m |oh )?sorry.*|apologies.*|pardon me|my (mistake|bad)|oops.*"
        r"|wrong person.*",
        "greeting": r"(a? ?(very |top o the |top of the )?good )?(morn(ing|in'?)|mornin'?"
        r"|afternoon"
        r"|evening|evenin'?|night|day)( to (you|ye|ya|all|one and all)( all)?)?|hello( there)?"
        r"|hullo"
        r"|hi( there)?|hey|hiya|howdy|goodnight|night night|nighty night|sleep well|bye( bye)?"
        r"|good ?bye|cheerio|ta ?ra|so long|see (you|ya)( (tomorrow|later|soon|then|.{3,9}day))?"
        r"|take care|have a (good|nice|great|lovely|blessed) .{3,12}|how (are|is|r) (you|u|things"
        r"|tricks)"
        r"( (today|doing|keeping))?|hope (you|u|all|this).{3,40}|(happy|merry) (new year|birthday"
        r"|christmas|xmas|easter|thanksgiving|holidays?|valentine'?s|independence day"
        r"|mother'?s day|father'?s day|diwali|hanukkah|eid|friday|monday|sunday"
        r"|weekend)( .{1,30})?|season'?s greetings"
        r"|(give|send|say) .{2,20} (my )?(best|love|regards|hello|hi).*|love (to|from) .*|x+|xo+"
        r"|xx.*"
        r"|same to (you|u|yourself|yourselves)|and (you|to you)( too)?|you too",
        "ok": r"(oh |ah |well )?(ok(ay)?( then)?|o ?k|k|yes|yep|yeah|yup|aye|fine|right( o| oh"
        r"|y ?ho)?|righto"
        r"|will do|got it|gotcha|understood|sure( thing)?|al(l )?right( then)?|no|i see"
        r"|fair enough"
        r"|no (rush|problem|worries|hurry|bother|matter)|never mind|i'?ll (be )?(fine|ok(ay)?"
        r"|all right"
        r"|alright|manage|live)|all good|noted|lol|ha ?(ha)*|he ?(he)*|ignore (me|that)|good"
        r"|great"
        r"|lovely|wonderful|nice|very good|just (joking|kidding|teasing|reminiscing)|only (joking"
        r"|kidding"
        r"|teasing))( then| so| dear)?",
    },
    "es": {
        "thanks": r"(ay |pues |ok |bueno )?((muchas |mil |muchísimas "
        r"|much[ií]simas )?gracias( .{1,50})?"
        r"|muy amable( .{1,30})?|(que )?dios (se lo pague|l[eaot]s? bendiga|me l[ea] bendiga"
        r"|te bendiga"
        r"|los bendiga)( .{1,40})?|es usted (un (sol|amor|encanto|[aá]ngel)|muy amable|una santa)"
        r"|(se )?(le|lo|les) agradezco( .{1,40})?|qu[eé] (amable|lindo|bonito"
        r"|detalle)( .{1,20})?|bendiciones)",
        "sorry": r"(ay |uy )?(perd[oó]n(e|ame|eme)?( .*)?|disculp[ea]( .*)?|lo siento( .*)?"
        r"|me equivoqu[eé].*)",
        "greeting": r"(muy |que tenga |que tengan |tenga )?(un )?(buen[oa]?s?|feliz|bonito|lindo)"
        r"( d[ií]as?| tardes?| noches?| domingo| fin de semana)?( tenga(n)?( usted(es)?)?"
        r"| a todos| para usted)?"
        r"|hola( .{1,15})?|quihubo|qu[eé] hubo|adi[oó]s|chao|chau|ciao|cu[ií]dese( mucho)?"
        r"|hasta (ma[nñ]ana|luego|pronto|la vista|el .{3,10}|siempre)|feliz (a[nñ]o|navidad"
        r"|d[ií]a|cumplea[nñ]os|domingo|pascua|semana|fin).*|que descanse(n)?"
        r"|que (le|te|les) vaya bien|(y )?(qu[eé] tal|c[oó]mo (est[aá]n?( usted(es)?)?|le va"
        r"|andamos|amaneci[oó]))"
        r"( .{1,15})?|felices .*|igualmente|saludos.*|abrazos?.*|un abrazo.*|besos.*|(salude"
        r"|saludos) a .*",
        "ok": r"(ah |pues |bueno |y )?(ok(ey|is)?|vale|s[ií]|de acuerdo|bueno|bien"
        r"|claro( que s[ií])?"
        r"|est[aá] bien|sale( vale| pues)?|entendido|no|[aá]ndele( pues)?|[oó]rale|ya veo|listo"
        r"|perfecto"
        r"|no se preocupe.*|no hay (prisa|problema|cuidado|pena)|ni modo|ja ?(ja)*|je ?(je)*"
        r"|pura vida"
        r"|no me haga caso|ya est[aá]|no pasa nada|estar[eé] bien)",
    },
}
_WHO = (
    r"(dear|love|robin|everyone|all|darling|my dear|hun|hon|honey|pet|duck|hen|sweetie|sweetheart"
    r"|ma'?am"
    r"|sir|sunshine|folks|young (man|lady|fella)|guapa|se[nñ]or(a|ita)?|a todos|querid[ao]"
    r"|mij[ao]"
    r"|mi (vida|amor|cielo|reina|hija|hijo|ni[nñ]a)|jovencit[ao]|doctora?|corazon|coraz[oó]n)"
)
_BETWEEN = re.compile(r"[^\w' ]+")


def courtesy_of(words: str, language: str) -> str | None:
    """The name of the text that answers words of courtesy; None when there is more to them."""
    table = _WORDS["es" if language.lower().startswith("es") else "en"]
    parts = [part.strip().lower() for part in _BETWEEN.split(words)]
    found = [_one(part, table) for part in parts if part]
    if not found:
        return "ok" if not words.strip() or not any(letter.isalnum() for letter in words) else None
    if None in found:
        return None
    return next((name for name in table if name in found), None)


def greeted_beside(words: str, language: str) -> str | None:
    """The thanks or greeting that begins or ends a text which says more than that."""
    table = _WORDS["es" if language.lower().startswith("es") else "en"]
    parts = [part.strip().lower() for part in _BETWEEN.split(words) if part.strip()]
    ends = (_one(part, table) for part in (*parts[:1], *parts[-1:]))
    return next((name for name in ends if name in ("thanks", "greeting")), None)


def _one(part: str, table: Mapping[str, str]) -> str | None:
    to_nobody = re.sub(rf"\b{_WHO}\b", "", part).strip()
    return next(
        (
            name
            for name, pattern in table.items()
            if re.fullmatch(pattern, part) or re.fullmatch(pattern, to_nobody)
        ),
        None,
    )
