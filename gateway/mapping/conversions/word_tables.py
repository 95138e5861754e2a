"""Words of several languages for eyes, sexes, and yes and no.

Dictionary words and the usual short forms of records (common practice). They are compared without case and points.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from gateway.errors.mapping import ConversionParametersError
from gateway.mapping.conversions.base import folded

UNCLEAR: Final = "unclear"
"""Meaning of a short form that has two in one language: M is mujer or masculino."""
WordTable = Mapping[str, Mapping[str, Sequence[str]]]
"""From language to meaning to its words."""

EYES: Final[WordTable] = {
    "la": {
        "right": ("od", "oculus dexter"),
        "left": ("os", "oculus sinister"),
        "both": ("ou", "oculi uterque", "oculus uterque"),
    },
    "en": {
        "right": ("right", "r", "rt", "re", "right eye"),
        "left": ("left", "l", "lt", "le", "left eye"),
        "both": ("both", "b", "be", "both eyes", "bilateral"),
    },
    "de": {
        "right": ("rechts", "r", "re", "ra", "rechtes auge"),
        "left": ("links", "l", "li", "la", "linkes auge"),
        "both": ("beide", "beidseits", "bds", "ba", "beide augen"),
    },
    "fr": {
        "right": ("droit", "droite", "d", "od", "œil droit", "oeil droit"),
        "left": ("gauche", "g", "og", "œil gauche", "oeil gauche"),
        "both": ("deux", "odg", "les deux yeux", "bilatéral"),
    },
    "es": {
        "right": ("derecho", "derecha", "d", "od", "ojo derecho"),
        "left": ("izquierdo", "izquierda", "i", "oi", "ojo izquierdo"),
        "both": ("ambos", "ao", "ambos ojos"),
    },
    "it": {
        "right": ("destro", "destra", "dx", "d", "od", "occhio destro"),
        "left": ("sinistro", "sinistra", "sx", "s", "os", "occhio sinistro"),
        "both": ("entrambi", "oo", "entrambi gli occhi"),
    },
    "pt": {
        "right": ("direito", "direita", "d", "od", "olho direito"),
        "left": ("esquerdo", "esquerda", "e", "oe", "olho esquerdo"),
        "both": ("ambos", "ao", "ambos os olhos"),
    },
    "nl": {
        "right": ("rechts", "r", "rechter oog", "rechteroog"),
        "left": ("links", "l", "linker oog", "linkeroog"),
        "both": ("beide", "beide ogen"),
    },
    "sv": {
        "right": ("höger", "hö", "h", "höger öga"),
        "left": ("vänster", "vä", "v", "vänster öga"),
        "both": ("båda", "bilateralt", "båda ögonen"),
    },
    "nb": {
        "right": ("høyre", "h", "høyre øye"),
        "left": ("venstre", "v", "venstre øye"),
        "both": ("begge", "begge øyne"),
    },
    "da": {
        "right": ("højre", "h", "højre øje"),
        "left": ("venstre", "v", "venstre øje"),
        "both": ("begge", "begge øjne"),
    },
    "fi": {
        "right": ("oikea", "oik", "oikea silmä"),
        "left": ("vasen", "vas", "vasen silmä"),
        "both": ("molemmat", "molemmat silmät"),
    },
    "et": {"right": ("parem", "parem silm"), "left": ("vasak", "vasak silm"), "both": ("mõlemad", "mõlemad silmad")},
    "pl": {
        "right": ("prawe", "prawy", "p", "op", "oko prawe"),
        "left": ("lewe", "lewy", "l", "ol", "oko lewe"),
        "both": ("oba", "oboje", "opl"),
    },
    "cs": {
        "right": ("pravé", "pravý", "p", "op", "pravé oko"),
        "left": ("levé", "levý", "l", "ol", "levé oko"),
        "both": ("obě", "obě oči"),
    },
    "hu": {
        "right": ("jobb", "j", "jobb szem"),
        "left": ("bal", "b", "bal szem"),
        "both": ("mindkettő", "mindkét szem"),
    },
    "tr": {"right": ("sağ", "sağ göz"), "left": ("sol", "sol göz"), "both": ("her iki", "her iki göz")},
    "ru": {
        "right": ("правый", "прав", "п", "пр", "правый глаз"),
        "left": ("левый", "лев", "л", "левый глаз"),
        "both": ("оба", "оба глаза"),
    },
    "uk": {
        "right": ("правий", "праве", "праве око"),
        "left": ("лівий", "ліве", "ліве око"),
        "both": ("обидва", "обидва ока"),
    },
    "el": {
        "right": ("δεξιός", "δεξιό", "δεξί", "δεξιός οφθαλμός", "δεξί μάτι"),
        "left": ("αριστερός", "αριστερό", "αριστερός οφθαλμός", "αριστερό μάτι"),
        "both": ("και τα δύο", "αμφότεροι"),
    },
    "ja": {"right": ("右", "右眼", "右目"), "left": ("左", "左眼", "左目"), "both": ("両", "両眼", "両目")},
    "zh": {"right": ("右", "右眼"), "left": ("左", "左眼"), "both": ("双眼", "雙眼")},
    "ko": {"right": ("우", "우안", "오른쪽"), "left": ("좌", "좌안", "왼쪽"), "both": ("양안", "양쪽")},
    "ar": {
        "right": ("يمين", "اليمنى", "العين اليمنى"),
        "left": ("يسار", "اليسرى", "العين اليسرى"),
        "both": ("كلتا العينين",),
    },
    "he": {"right": ("ימין", "עין ימין"), "left": ("שמאל", "עין שמאל"), "both": ("שתי העיניים",)},
}

SEXES: Final[WordTable] = {
    # PS3.3 C.7.1.1 (Patient's Sex) and ISO/IEC 5218.
    "dicom": {"F": ("f",), "M": ("m",), "O": ("o",)},
    "iso-5218": {"M": ("1",), "F": ("2",)},
    "en": {"F": ("female", "f", "woman"), "M": ("male", "m", "man"), "O": ("other", "o")},
    "de": {"F": ("weiblich", "w", "frau"), "M": ("männlich", "m", "mann"), "O": ("divers", "d")},
    "fr": {"F": ("femme", "féminin", "f"), "M": ("homme", "masculin", "h", "m"), "O": ("autre",)},
    "es": {
        "F": ("mujer", "femenino", "f"),
        "M": ("hombre", "varón", "masculino", "h", "v"),
        "O": ("otro",),
        UNCLEAR: ("m",),
    },
    "it": {"F": ("femmina", "femminile", "donna", "f"), "M": ("maschio", "maschile", "uomo", "m"), "O": ("altro",)},
    "pt": {"F": ("feminino", "mulher", "f"), "M": ("masculino", "homem", "m"), "O": ("outro",)},
    "nl": {"F": ("vrouw", "vrouwelijk", "v"), "M": ("man", "mannelijk", "m"), "O": ("anders",)},
    "sv": {"F": ("kvinna", "k"), "M": ("man", "m"), "O": ("annat",)},
    "nb": {"F": ("kvinne", "k"), "M": ("mann", "m"), "O": ("annet",)},
    "da": {"F": ("kvinde", "k"), "M": ("mand", "m"), "O": ("andet",)},
    "fi": {"F": ("nainen", "n"), "M": ("mies", "m"), "O": ("muu",)},
    "pl": {"F": ("kobieta", "żeńska", "k"), "M": ("mężczyzna", "męska", "m"), "O": ("inna",)},
    "ru": {"F": ("женский", "жен", "ж"), "M": ("мужской", "муж", "м"), "O": ()},
    "el": {"F": ("θήλυ", "γυναίκα", "θ"), "M": ("άρρεν", "άνδρας", "α"), "O": ()},
    "ja": {"F": ("女", "女性"), "M": ("男", "男性"), "O": ()},
    "zh": {"F": ("女", "女性"), "M": ("男", "男性"), "O": ()},
}

SWITCHES: Final[WordTable] = {
    "codes": {"yes": ("1", "true"), "no": ("0", "false")},
    "en": {"yes": ("yes", "y", "true"), "no": ("no", "n", "false")},
    "de": {"yes": ("ja", "j", "wahr"), "no": ("nein", "n", "falsch")},
    "fr": {"yes": ("oui", "o", "vrai"), "no": ("non", "n", "faux")},
    "es": {"yes": ("sí", "si", "s", "verdadero"), "no": ("no", "n", "falso")},
    "it": {"yes": ("sì", "si", "s", "vero"), "no": ("no", "n", "falso")},
    "pt": {"yes": ("sim", "s", "verdadeiro"), "no": ("não", "nao", "n", "falso")},
    "nl": {"yes": ("ja", "j", "waar"), "no": ("nee", "n", "onwaar")},
    "sv": {"yes": ("ja", "j", "sant"), "no": ("nej", "n", "falskt")},
    "nb": {"yes": ("ja", "j"), "no": ("nei", "n")},
    "da": {"yes": ("ja", "j"), "no": ("nej", "n")},
    "fi": {"yes": ("kyllä", "k"), "no": ("ei", "e")},
    "pl": {"yes": ("tak", "t"), "no": ("nie", "n")},
    "ru": {"yes": ("да", "д"), "no": ("нет", "н")},
    "el": {"yes": ("ναι",), "no": ("όχι",)},
    "ja": {"yes": ("はい",), "no": ("いいえ",)},
    "zh": {"yes": ("是",), "no": ("否",)},
}


def meanings(name: str, table: WordTable, languages: Sequence[str], without: Sequence[str]) -> Mapping[str, str]:
    """Return each folded word of the stated languages with its meaning.

    Parameters
    ----------
    without : sequence of str
        Words that shall not be read.

    Raises
    ------
    ConversionParametersError
        For a language that the table does not have, and for a word with different meanings in two of them.
    """
    left_out = {folded(word) for word in without}
    found: dict[str, tuple[str, str]] = {}
    for language in languages:
        if language not in table:
            raise ConversionParametersError(
                f"{name}: no words of this language are known", was=repr(language[:20]), fix=f"use {', '.join(table)}"
            )
        for meaning, words in table[language].items():
            for word in map(folded, words):
                first, stated = found.setdefault(word, (meaning, language))
                if first != meaning and word not in left_out:
                    raise ConversionParametersError(
                        f"{name}: a word means different things in two of the stated languages",
                        was=f"{word} is {first} in {stated} and {meaning} in {language}",
                        fix=f"leave a language out, or state without: [{word}]",
                    )
    return {word: meaning for word, (meaning, _) in found.items() if word not in left_out}
