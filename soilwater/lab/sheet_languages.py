"""Words of lab sheets in German, French and Spanish: one table a language, of the trade's terms.

All from memory, no source. A pattern is searched in a header of lower case; a dot stands for a
letter with a mark, which files lose; compounds of one word are matched by their stem.
"""

from __future__ import annotations

GERMAN = (
    ("core_height", r"(zylinder|proben?|ring)h.he|h.he (des|der) (stech)?(zyl|pro)"),
    ("retained", r"r.ckstand|siebung"),
    ("k_sat", r"durchl.ssigkeit|leitf.higkeit|^kf([- ]?wert)?$"),
    ("particle_density", r"reindichte|korndichte|feststoffdichte|dichte der festsubstanz"),
    ("bulk_density", r"lagerungsdichte|rohdichte|raumdichte|raumgewicht|^trd$"),
    ("porosity", r"porenvolumen|porosit.t|gesamtporen|porenanteil"),
    ("organic_matter", r"organische substanz|gl.hverlust|humus"),
    ("sample", r"^(probe|proben?[- ]?(name|nummer|nr|id|bezeichnung)|mischung|variante|sand)$"),
    ("replicate", r"^(wiederholung|wdh|parallele|stechzylinder|zylinder)([- ]?nr)?$"),
    ("water_content", r"wassergehalt|wasseranteil|feuchte\b|vol\.?[- ]*% wasser"),
    ("suction", r"saugspannung|wasserspannung|matrixpoten[tz]ial|saugkraft|unterdruck|druckh.he"),
    ("suction", r"^pf[- ]?wert$|entw.sserungsdruck|druckstufe"),
)
FRENCH = (
    ("core_height", r"hauteur (du|de l['’]|des) ?(cylindre|.chantillon|anneau)"),
    ("retained", r"refus|tamis"),
    ("k_sat", r"conductivit. hydraulique|perm.abilit."),
    ("particle_density", r"densit. (r.elle|des solides|des particules)|masse volumique r.elle"),
    ("bulk_density", r"densit. (apparente|s.che)|masse volumique"),
    ("porosity", r"porosit."),
    ("organic_matter", r"mati.re organique|perte au feu"),
    ("sample", r"^(.chantillon|pr.l.vement|m.lange|sable)$"),
    ("replicate", r"^(r.p.tition|r.plicat|cylindre)$"),
    ("water_content", r"teneur .*eau|humidit.|eau retenue"),
    ("suction", r"succion|potentiel (matriciel|de l['’]eau)|tension|pression|charge matricielle"),
)
SPANISH = (
    ("core_height", r"altura (del|de la) (cilindro|muestra|anillo)"),
    ("retained", r"retenid|tamiz"),
    ("k_sat", r"conductividad hidr.ulica|permeabilidad"),
    ("particle_density", r"densidad (real|de (las )?part.culas)"),
    ("bulk_density", r"densidad (aparente|seca)"),
    ("porosity", r"porosidad"),
    ("organic_matter", r"materia org.nica"),
    ("sample", r"^(muestra|mezcla|arena)$"),
    ("replicate", r"^(repetici.n|r.plica|cilindro)$"),
    ("water_content", r"contenido .*(agua|humedad)|humedad|agua retenida"),
    ("suction", r"succi.n|potencial (m.trico|matricial|del agua)|tensi.n|presi.n"),
)
OTHER_LANGUAGES = (*GERMAN, *FRENCH, *SPANISH)

SATURATED = r"ges.ttigt|s.ttigung|satur.|saturation|saturado|saturaci.n"
DRYING = r"entw.sser|trocknung|desorption|s.chage|drainage|dess.ch|secado|desecaci.n|drenaje"
WETTING = r"befeuchtung|bew.sserung|humectation|mouillage|humectaci.n|mojado|humedecimiento"
MEAN = r"mittelwert|mittel|moyenne|media|promedio"
DEVIATION = r"standardabweichung|stabw\w*|.cart[- ]type|desviaci.n( est.ndar| t.pica)?"
REPLICATE = r"wiederholung|wdh|parallele|stechzylinder|zylinder|r.p.tition|cylindre|repetici.n"
SAMPLE = r"probe|mischung|variante|.chantillon|m.lange|sable|muestra|mezcla|arena"
UNIT = r"einheit|unit.|unidad"
BRANCH = r"ast|kurve|verlauf|branche|courbe|rama|curva"
WATER = r"d['’] ?eau|eau|agua|de agua|wassers.ule|ws|c\.? ?[ea]\.?"
CORE = r"stechzylinders?|proben?|zylinders?|cylindre|.chantillon|cilindro|muestra"
AT = r"an der|in der|am|bei|[^\x00-\x7f] la|au|[^\x00-\x7f]|en la|en el|a la|a"
OF = r"der|des|du|de l['’]?|del|de la"
MIDDLE = r"(?:proben)?mitte|mi-hauteur|milieu|mitad|media altura"
BASE = r"unterkante|unterseite|probenboden|base|fond"
TOP = r"oberkante|oberseite|sommet|haut|parte superior"
