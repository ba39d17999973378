"""Words of a drawing about its scale: those that say another than 1 : 1, and those that may."""

from __future__ import annotations

import math
import re
import unicodedata

from scenes.io.dxf.units import AMOUNT, LENGTH, QUOTES, amount, length_mm

WORD = "scale|ma(?:ß|ss|sz)stab|[eé]chelle|escala|scala|schaal|skala|масштаб|m[eě][rř][ií]tko|mierka"
WORD += r"|podzia[łl]ka|mittakaava|[öo]l[çc]ek|m[åa]lestokk?|m[ée]retar[áa]ny|scar[aă]|κλ[ίι]μακα"
SAID = rf"(?:\b(?:{WORD})\b(?:\s*(?:factor|faktor))?|比例尺?|尺度|[縮缩]尺|축척|척도)"
NUMBER = r"\d+(?:[.,]\d+)?"
RATIO_SIGNS = str.maketrans(
    {"∶": ":", "ː": ":", "꞉": ":", "∕": "/", "⁄": "/", "÷": ":"}
)  # as people and fonts have them for a colon
LINE_ENDS, BLANKS, ENDLESS = re.compile(r" ?\n[ \n]*"), re.compile(r"[^\S\n]+"), re.compile(r"(\d{12})\d+")
OVER = r"(?:[:/=-]|to\b|zu\b|auf\b)"
SCALE = re.compile(
    rf"{SAID}\s*[:=]?\s*[x×*]?\s*(?P<a>{NUMBER})\s*(?:{OVER}\s*(?P<b>{NUMBER})|(?P<percent>%))?"
    rf"|\b(?P<c>{NUMBER})\s*(?:[x×*]|[:/]\s*(?P<d>{NUMBER}))\s*(?:{WORD})\b"
    rf"|\bM\s*(?P<e>{NUMBER})\s*:\s*(?P<f>{NUMBER})\b(?!\s*[a-z×])"
    rf"|(?P<g>{NUMBER})\s*\"\s*=\s*(?P<h>{NUMBER})\s*[\"']",
    re.IGNORECASE,
)

# The scales of ISO 5455, and 2.5, 3, 4 and 25 that people use besides, as a title block holds them without the word.
# No aspect ratio is one but 2:1, and that is asked about.
STEP = "2|2[.,]5|3|4|5|10|20|25|50|100"
BY_NUMBERS = re.compile(rf"(?<![\d.,:/])(?:1\s*:\s*(?:{STEP}|0[.,]\d+)|(?:{STEP})\s*:\s*1)(?![\d:/]|[.,]\d)")
WHOLE = r"(?:full|actual|true|natural|life|original|real)[ -]?(?:size|scale)|(?:natürliche\w*|wahre|original)[ -]?grö(?:ß|ss)e"
WHOLE += r"|grandeur\s+(?:nature|r[ée]elle)|tamaño\s+(?:natural|real)|grandezza\s+naturale"
ONE = r"one|eins?|une?|uno|een"
FEW = rf"{ONE}|two|three|four|five|ten|zwei|drei|vier|f(?:ü|ue)nf|zehn|deux|trois|quatre|cinq|dix|due|tre|quattro|dieci|dos|tres"
FEW += r"|cuatro"
FEW += r"|cinco|diez|twee|drie|vijf|tien"
AGAINST = r"\s*(?:[:/-]|to|zu|auf|[àa]|op)\s*"
PART_WORD = r"half|double|twice|quarter|none|halb\w*|doppelt\w*|viertel|demi|moiti[ée]|doble|mitad|doppi[oa]|met[àa]|dubbel\w*"
PART_WORD += r"|halve?"
SIZE_WORD = r"gr(?:ö|oe)(?:ß|ss|sz)e|taille|grandeur|tama[ñn]o|grandezza|dimensione|grootte|formaat"
TIMES_WORD = r"half|double|twice|thrice|quarter|third|(?:two|three|four|five|ten)\s+times"
BY_WORDS = re.compile(
    rf"\b(?:{TIMES_WORD})[ -](?:of\s+)?(?:the\s+|its\s+)?(?:{WHOLE}|size|scale)\b"
    rf"|{SAID}\s*[:=]?\s*(?:{PART_WORD})\b"
    rf"|{SAID}\s*[:=]?\s*(?!(?:{ONE}){AGAINST}(?:{ONE})\b)(?:{FEW})(?:{AGAINST})(?:{FEW})\b"
    rf"|\b(?:halbe|doppelte|dreifache|vierfache|f(?:ü|ue)nffache|zehnfache)[rn]?\s+(?:{SIZE_WORD}|{WORD})\b"
    r"|\b(?:double|demi|moiti[ée]|doble|mitad|doppia|met[àa]|dubbele|halve)[- ](?:(?:de\s+la|della|del|de)\s+)?"
    rf"(?:{SIZE_WORD}|{WORD})\b"
    r"|\bnot\s+(?:drawn\s+)?(?:to|at|in)\s+(?:full\s+)?(?:scale|size)\b|\bn\.?t\.?s\b"
    rf"|\b(?:nicht\s+|un)(?:ma(?:ß|ss|sz)st[aä]e?blich|im\s+ma(?:ß|ss|sz)stab)"
    rf"|\b(?:sin|fuori|hors|ohne|sans|senza|zonder|uden|utan)\s+(?:{WORD})\b"
    r"|\b(?:no|non|niet)\s+(?:a|in|op)\s+(?:escala|scala|schaal)\b|\bpas\s+[aà]\s+l.[eé]chelle\b"
    rf"|\bdrawn\s+(?:at\s+)?(?:[x×]\s*(?!1\b){NUMBER}|(?!1\s*[x×]){NUMBER}\s*[x×](?!\s*\d))",
    re.IGNORECASE,
)

# How many times something is meant to be larger. "2x" before a number, a screw or a radius counts these.
TIMES = (
    rf"(?P<times>{NUMBER})\s*(?:[x×*]|times\b|mal\b|fois\b|fold\b)(?!\s*(?:\d|[mrøØ∅⌀]\s*\d))|[x×*]\s*(?P<by>{NUMBER})(?!\s*[\dx×])"
)
FACTOR = rf"(?:(?P<hundredths>{NUMBER})\s*%|(?P<over>{NUMBER})\s*[:/]\s*(?P<under>{NUMBER})|{TIMES})"
CHANGED = r"reduc(?:ed|tion)|enlarge(?:d|ment)|magnifi(?:ed|cation)|shrunk|blown\s+up|zoomed|scal(?:ed|ing)|resized"
CHANGED += (
    r"|verkleiner(?:t|ung)|vergr(?:ö|oe)(?:ß|ss)er(?:t|ung)|r[ée]dui(?:t|te|re)|r[ée]duction|agrandi(?:e|ssement)?|ampliad[oa]"
)
CHANGED += r"|reducid[oa]|ridott[oa]|ingrandit[oa]|verkleind|vergroot"
TO = r"\s*(?:factor|faktor)?\s*(?:to|by|at|in|auf|um|à|de|al|a|op|=|:)?\s*"
FACTORS = [
    re.compile(pattern, re.IGNORECASE)
    for pattern in (
        rf"{FACTOR}\s*(?:of\s+|der\s+|de\s+(?:la\s+)?)?(?:the\s+|its\s+)?\b(?:{WHOLE})\b",
        rf"\b(?:{WHOLE})\b\s*[:=,]?\s*{FACTOR}(?=\s*(?:$|[.,;)]))",
        rf"(?<![\d/:.])(?:(?P<hundredths>{NUMBER})\s*%|(?P<over>\d+)/(?P<under>\d+)|{TIMES})[ -]?size\b",
        rf"\b(?:{CHANGED})\b{TO}{FACTOR}",
        rf"\b(?:drawn|shown|plotted|printed|copied|gezeichnet|dargestellt|gedruckt){TO}(?:(?P<hundredths>{NUMBER})\s*%|{TIMES})",
        r"\bM\s*(?P<over>1)\s*/\s*(?P<under>\d{1,3})\b(?![/.-])|\bM\s+(?P<times>\d{1,3})\s*/\s*1\b(?![/.-])",
        r"\b(?:[eé]ch|esc|mstb?|scl|sc)\b\.?\s*[:=]?\s*(?:(?P<over>1)\s*[:/]\s*(?P<under>\d{1,3})|(?P<times>\d{1,3})\s*[:/]\s*1)\b(?![/.-])",
        rf"^\s*\(?\s*(?P<hundredths>{NUMBER})\s*%\s*\)?\s*$",
    )
]
EQUAL = re.compile(
    rf"(?<![\w.,/])(?P<a>{AMOUNT})\s*(?P<of>{LENGTH}|units?|einheit(?:en)?|unit[ée]s?)\s*(?:=|≙|equals?\b|represents?\b|entspricht\b|is\b)"
    rf"\s*(?P<b>{AMOUNT})\s*(?P<by>{LENGTH}|units?|einheit(?:en)?|unit[ée]s?)",
    re.IGNORECASE,
)
ROUNDED, UNLIKE = 0.02, 0.2  # of a length in two units: how people round it, and what is no rounding any more

PERHAPS = [
    re.compile(pattern, re.IGNORECASE)
    for pattern in (
        r"(?<![\d.,:/])(?:1\s*:\s*(?!1\b)\d+|(?!1\s*:)(?:\d+|0[.,]\d+)\s*:\s*1)(?![\d:/]|[.,]\d|\s*[ap]\.?m\b)",
        r"^\s*\(?\s*(?:1\s*[/=-]\s*(?!1\b)\d{1,3}|(?!1\b)\d{1,3}\s*[/=-]\s*1)\s*\)?\s*$",
        rf"(?<![\d.,±<>≤])(?<![±<>≤]\s)(?!100\s*%){NUMBER}\s*%",
        r"\b(?:verkleinert|vergr(?:ö|oe)(?:ß|ss)ert)\s+(?:dargestellt|gezeichnet)\b|\b(?:drawn|shown)\s+(?:reduced|enlarged|magnified)\b",
        r"(?<![\d.,:/])1\s*:\s*1[.,](?!0+\b)\d+(?![\d:/])",
        rf"\b(?:{CHANGED})\b{TO}(?!1(?:[.,]0*)?(?:\s|$)){NUMBER}(?=\s*(?:$|[.,;)]))",
    )
]
HARMLESS = re.compile(rf"\b(?:do|does)\s*n[o']t\s+scale\b|{SAID}\s*[:=]?\s*(?:full|voll)", re.IGNORECASE)
NUMBERED = re.compile(rf"{SAID}.*\d|\d.*{SAID}", re.IGNORECASE)


def plain_signs(words: str) -> str:
    """Words with one sign for each that looks like it: ratio signs of other scripts, marks of inches and feet, wide spaces.

    Of a number that has no end a part is kept: nobody reads on.
    """
    plain = unicodedata.normalize("NFKC", words.translate(RATIO_SIGNS).translate(QUOTES)).translate(RATIO_SIGNS)
    return ENDLESS.sub(r"\1", LINE_ENDS.sub("\n", BLANKS.sub(" ", plain)))


def stated_scale(words: str, unit_mm: float = 1.0) -> str:
    """The part of a text, in plain signs, that says that a drawing is to a scale other than 1 : 1; empty where none does."""
    for found in SCALE.finditer(words):
        over, under = (_number(next((found[one] for one in group if found[one]), "1")) for group in ("aceg", "bdfh"))
        if not math.isclose(over, under * (100.0 if found["percent"] else 1.0)):
            return found[0].strip()
    told = BY_NUMBERS.search(words) or BY_WORDS.search(words)
    if told:
        return told[0].strip()
    return next(
        (part for line in words.splitlines() for part in (_by_factor(line), _by_lengths(line, unit_mm, UNLIKE)) if part), ""
    )


def possible_scale(words: str, unit_mm: float) -> str:
    """The line of a text, in plain signs, that may say another scale, or as well something else; empty where none may."""
    for line in words.splitlines():
        rest = HARMLESS.sub(" ", SCALE.sub(" ", line))
        if any(one.search(line) for one in PERHAPS) or NUMBERED.search(rest) or _by_lengths(line, unit_mm, ROUNDED):
            return line.strip()
    return ""


def _by_factor(line: str) -> str:
    for found in (one for pattern in FACTORS for one in pattern.finditer(line)):
        if not math.isclose(_factor(found.groupdict()), 1.0):
            return found[0].strip()
    return ""


def _factor(found: dict[str, str | None]) -> float:
    """How many times as large, by the groups of a match."""
    part = {name: _number(digits) for name, digits in found.items() if digits}
    if "hundredths" in part:
        return part["hundredths"] / 100.0
    if "over" in part:
        return part["over"] / part["under"] if part["under"] else 0.0
    return part.get("times", part.get("by", 1.0))


def _by_lengths(line: str, unit_mm: float, apart: float) -> str:
    """What sets two lengths equal that are not, as 1 unit = 2 mm does where a unit is one mm."""
    for found in EQUAL.finditer(line):
        a_mm = amount(found["a"]) * (length_mm(found["of"]) or unit_mm)
        b_mm = amount(found["b"]) * (length_mm(found["by"]) or unit_mm)
        if not math.isclose(a_mm, b_mm, rel_tol=apart):
            return found[0].strip()
    return ""


def _number(word: str) -> float:
    return float(word.replace(",", "."))
