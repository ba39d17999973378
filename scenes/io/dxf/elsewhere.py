"""Words of a drawing by which its cut-out is not what it holds: it is on another sheet, is gone, or the drawing holds no more.

In the languages of people who draw for workshops, as far as they say it in set phrases.
"""

from __future__ import annotations

import re

CUT_OUT = (
    r"cut[ -]?outs?|openings?|apertures?|ausschnitte?s?|(?:ö|oe)ffnung(?:en)?|durchbr(?:u|ü)ch(?:e|s)?|d[ée]coupes?|ouvertures?"
)
CUT_OUT += r"|[ée]videments?|recortes?|aberturas?|apertur[ae]|ritagli[oa]?|uitsparing(?:en)?|urtag(?:ning)?|udsk(?:æ|ae)ring"
CUT_OUT += r"|utsk(?:æ|ä)ring|aukko|otw[óo]r|wyci[ęe]cie|v[ýy][řr]ez|вырез|отверстие"
SHEET = r"sheet|sht|drawing|drwg|dwg|page|file|detail|blatt|zeichnung|zchng?|seite|datei|detail|feuille|planche|plan|page|dessin"
SHEET += (
    r"|fichier|foglio|tavola|disegno|pagina|hoja|plano|l[áa]mina|dibujo|folha|desenho|blad|tekening|bestand|ark|tegning|ritning"
)
SHEET += r"|arkusz|rysunek|list|v[ýy]kres|лист|чертеж"
AT = r"see(?:\s+(?:on|in))?|shown\s+(?:on|in)|on|siehe(?:\s+auf)?|s\.|vgl\.?|auf|voir(?:\s+(?:sur|en))?|v\.|cf\.?|sur|vedi"
AT += r"|su(?:l|lla)?|ver(?:\s+en)?|v[ée]ase|zie"
AT += r"|op|se|katso|patrz|na|viz|см\.?|на"
THIS = r"(?!\s*(?:this|that|same|dieser|diese[mn]?|cette?|questo|questa|est[ea]|deze|dit)\b)"
THE = r"the|le|la|il|el|de|der|dem|das|die|other|next|andere[mrns]?"
ONLY_ONE = r"(?!\s*1\s*(?:of|/|von|de|di|van)\s*1\b)(?!\s*(?:cent|mid))"
PLACE = rf"{THIS}(?:\s*(?:{THE})\b\.?)*\s*(?:{SHEET})\b\.?{ONLY_ONE}"
IS = r"(?!\s*(?:this|that|same|dieser|diese[mn]?|cette?|questo|questa|est[ea]|deze|dit)\b)"
THE = r"the|le|la|il|el|de|der|dem|das|die|other|next|andere[mrns]?"
ONLY_ONE = r"(?!\s*1\s*(?:of|/|von|de|di|van)\s*1\b)(?!\s*(?:cent|mid))"
PLACE = rf"{THIS}(?:\s*(?:{THE})\b\.?)*\s*(?:{SHEET})\b\.?{ONLY_ONE}"
IS = r"(?:\s+(?:is|are|was|were|has|have|been|to|be|ist|sind|wurden?|wird|est|sont|[èe]|sono|es|son|werd|zijn))*"
GONE = r"removed|deleted|omitted|missing|suppressed|hidden|lost|(?:not|n't)\s+(?:yet\s+)?(?:shown|drawn|included|cut)|left\s+out"
GONE += r"|to\s+follow|follows"
GONE += r"|elsewhere|entfernt|gel(?:ö|oe)scht|fehl(?:t|en)|ausgeblendet|weggelassen|nicht\s+(?:dargestellt|gezeichnet|enthalten)"
GONE += r"|folg(?:t|en)"
GONE += r"|supprim[ée]e?s?|enlev[ée]e?s?|manquante?s?|non\s+(?:repr[ée]sent|dessin)[ée]e?s?|rimoss[oaie]|eliminat[oaie]|mancante"
GONE += r"|non\s+disegnat[oaie]"
GONE += r"|suprimid[oa]s?|eliminad[oa]s?|borrad[oa]s?|no\s+(?:dibujad|mostrad)[oa]s?|verwijderd|ontbreekt|niet\s+getekend"
WITHOUT = r"no|without|missing|removed|deleted|ohne|kein(?:e|en)?|fehlende[rn]?|sans|senza|sin|zonder|utan|uden|bez|без"
VOID = r"superseded|obsolete|cancell?ed|withdrawn|out\s+of\s+date|outdated|void|ung(?:ü|ue)ltig|(?:ü|ue)berholt|veraltet"
REPLACED = r"ersetzt|replaced|superseded|remplac[ée]e?|sostituit[oa]|reemplazad[oa]|sustituid[oa]|vervangen"
VOID += rf"|(?:{REPLACED})\s+(?:durch|by|par|da|por|door)"
VOID += (
    r"|annul[ée]e?|p[ée]rim[ée]e?|obsol[èe]te|obsolet[oa]|annullat[oa]|superat[oa]|anulad[oa]|vervallen|verouderd|ugyldig|ogiltig"
)
MAKING = r"manufactur\w*|production|fabrication|construction|cutting|fertigung|produktion|herstellung|produzione|fabbricazione"
MAKING += r"|producci[óo]n|fabricaci[óo]n|productie"
FOR = r"for|f(?:ü|ue)r|zur|pour|per|para|voor"
VOID += rf"|(?:not|nicht|pas|non|no|niet)\s+(?:{FOR})\s+(?:(?:the|die|la|de)\s+)?(?:{MAKING})"
VOID += r"|do\s+not\s+use(?=\s*(?:$|[.,;!)]|this|for\s+(?:manuf|prod|fabric|cutting)))|nicht\s+(?:mehr\s+)?verwenden"
VOID += r"|ne\s+(?:pas|plus)\s+utiliser|non\s+(?:usare|utilizzare)|no\s+usar"
PLATE = r"\b(?:plate|outer|outside)[ -]?(?:edge|contour|outline|size|dimensions?)\b|\bplate\s+only\b|\bnur\s+(?:die\s+)?platte\b"
PLATE += r"|\bau(?:ß|ss)en(?:kontur|kante|ma(?:ß|ss))\w*|\bplatten?(?:rand|kante|umriss)\b|\bcontours?\s+ext[ée]rieurs?\b"
PLATE += r"|\bbord\s+de\s+(?:la\s+)?(?:plaque|t[ôo]le)\b|\bcontorno\s+(?:esterno|exterior|externo)\b"
PLATE += r"|\bbordo\s+(?:esterno|(?:della\s+)?(?:piastra|lastra))\b"
PLATE += r"|\bborde\s+(?:exterior|de\s+(?:la\s+)?(?:placa|chapa))\b|\bbuiten(?:contour|rand|maat)\w*|\bplaatrand\b"
ELSEWHERE = re.compile(
    rf"{PLATE}"
    rf"|\bcut[ -]?outs?\s+(?:is\s+)?(?:on|see)\s+{THIS}(?!sheet\s*1\s*(?:of|/)\s*1\b)\w+"
    rf"|\b(?:{CUT_OUT})\b{IS}\s*[:,(-]*\s*(?:{AT})(?!\w)[ :]*{PLACE}"
    rf"|\b(?:{AT})(?!\w)[ :]*{PLACE}[ ]*\S{{0,20}}\s+(?:{FOR})\s+(?:(?:the|den|die|la|el|il|de)\s+|l')?(?:{CUT_OUT})\b"
    rf"|\b(?:{CUT_OUT})\b{IS}\s*[:,(-]*\s*(?:{GONE})\b"
    rf"|\b(?:{WITHOUT})\s+(?:{CUT_OUT})(?=\s*(?:$|[.,;:)!]|yet\b|here\b|shown\b|drawn\b))"
    rf"|\b(?:{VOID})(?!\w)"
    r"|(?:開口|开口|切り?抜き|开孔)\S{0,12}(?:参照|参见|见图|見図|削除|删除)",
    re.IGNORECASE | re.MULTILINE,
)
