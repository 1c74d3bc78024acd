"""The trade's words in German, each of the English one that it stands for; see `mill/words.py`. Knows no page.

Of a word the forms stand here in which pages have it, since German makes them by no rule: Faden, Fäden, Rohlänge.
"""

from mill.words import BY_ANCHOR, Word, in_order


def _of(
    anchor: str, word: str, means: str, unit: str = "", *, also: tuple[str, ...] = (), is_common: bool = False
) -> Word:
    """The German of a word; where it is in print stands with the English one."""
    return Word(word, means, unit, also=also, source=BY_ANCHOR[anchor].source, is_common=is_common, of=anchor)


WORDS: tuple[Word, ...] = in_order(
    (
        _of("batch", "Posten", "Stücke, die zusammen durch einen Gang der Ausrüstung gehen."),
        _of(
            "beam",
            "Kettbaum",
            "Die Walze, auf die eine Kette gebäumt wird und von der der Webstuhl sie abwebt.",
            also=("kettbäume", "kettbaums", "kettbäumen", "baum", "bäume"),
        ),
        _of(
            "bobbin-cone",
            "Spule, Kone",
            "Ein Wickel Garn; im Gatter steckt für jeden Faden eines Bandes einer.",
            also=("spulen", "konen"),
        ),
        _of("burl", "Noppen", "Knoten, Kletten und Stroh aus der Rohware lesen, bevor sie gewaschen wird."),
        _of(
            "claim",
            "Reklamation",
            "Was man von einem Lieferanten fordert, dessen Garn leichter kam, als es berechnet wurde.",
            also=("reklamationen",),
        ),
        _of(
            "cloth",
            "Stoff",
            "Was die Weberei webt und verkauft: eine Vorschrift mit ihren Revisionen und Farbstellungen.",
            also=("stoffe", "stoffs", "stoffen"),
        ),
        _of(
            "colourway",
            "Farbstellung",
            "Ein Stoff in gewählten Farben: dieselbe Vorschrift, andere Garne.",
            also=("farbstellungen",),
        ),
        _of(
            "condition",
            "Feuchte",
            "Vom Garn: wie feucht es ist. An der Luft nimmt es Wasser auf oder gibt es ab, bis beide im Gleichgewicht"
            " sind.",
            is_common=True,
        ),
        _of(
            "contraction",
            "Einsprung im Webstuhl",
            "Um so viel ist die Rohware schmaler, als die Kette im Blatt stand.",
            "% der Blattbreite",
            also=("einsprung der breite im webstuhl",),
        ),
        _of(
            "cost",
            "Kosten",
            "Was ein Stück an Garn, Stunden, Vorrichtung und Ausrüstung braucht, zu den eigenen Sätzen der Weberei.",
        ),
        _of(
            "count",
            "Feinheit",
            "Wie fein ein Garn ist: seine Masse auf die Länge. Mehr Tex heißt dickeres Garn.",
            "tex",
            also=("feinheiten", "garnfeinheit"),
        ),
        _of(
            "count-systems",
            "Feinheitssysteme",
            "Die einen geben Masse auf Länge (Tex, Denier), die anderen Länge auf Masse (metrisch Nm, Streichgarn- und"
            " Kammgarnnummern): Dort heißt eine höhere Nummer feineres Garn.",
            also=("wie gekauft", "garnnummer", "garnnummern"),
        ),
        _of(
            "cover",
            "Deckung",
            "Wie viel von der Stoffseite die Garne einer Richtung bedecken würden, nebeneinander gelegt.",
        ),
        _of("creel", "Gatter", "Das Gestell, von dem geschärt wird, ein Wickel für jeden Faden eines Bandes."),
        _of(
            "crimp",
            "Einarbeitung",
            "Um so viel ist das Garn länger als der Stoff, in dem es liegt.",
            "% der Stofflänge",
            also=("einarbeitungen",),
        ),
        _of("crop-shear", "Scheren", "Den gerauhten Flor gleich hoch schneiden.", also=("geschoren",)),
        _of(
            "cut",
            "Schnitt",
            "Eine Länge Stoff, vom Webstuhl abgenommen; in manchen Webereien ein anderes Wort für Stück.",
            is_common=True,
        ),
        _of(
            "cut-mark",
            "Stückmarke",
            "Ein Zeichen, eingewebt oder auf der Kette, wo ein Stück endet und das nächste beginnt.",
            also=("stückmarken", "schnittmarke"),
        ),
        _of("denier", "Denier", "Eine Feinheit: Gramm auf 9 000 Meter. Ein Neuntel davon ist das Tex."),
        _of(
            "dent",
            "Rohr",
            "Eine Lücke im Webblatt; durch jede gehen ein, zwei oder mehr Fäden.",
            also=("rohre", "rohren"),
        ),
        _of(
            "draft-threading",
            "Einzug",
            "Welcher Faden durch eine Litze welches Schaftes geht.",
            also=("einzüge", "einzugs"),
        ),
        _of(
            "draw-down",
            "Verbrauchsverlauf",
            "Was Tag für Tag aus einem Garnvorrat geht, wie die geplante Arbeit es braucht.",
            "kg",
            also=("verbrauch",),
        ),
        _of(
            "draw-in",
            "Einziehen",
            "Eine neue Kette von Hand durch Litzen und Blatt ziehen.",
            also=("eingezogen", "neu einziehen"),
        ),
        _of(
            "dye-lot",
            "Färbepartie",
            "Was zusammen gefärbt wurde. Zwei von einer Farbe dürfen nie in einer Kette zusammenkommen.",
            also=("färbepartien", "farbpartie", "farbpartien"),
        ),
        _of(
            "end",
            "Kettfaden",
            "Ein Faden der Kette.",
            also=("kettfäden", "kettfadens", "faden", "fäden"),
        ),
        _of(
            "fell",
            "Warenrand",
            "Die Kante des Stoffs im Webstuhl, wo der letzte Schuss angeschlagen wurde.",
            is_common=True,
        ),
        _of(
            "finished",
            "Fertig",
            "Vom Stoff: wie ihn der Kunde bekommt.",
            also=("fertiglänge", "fertigbreite", "fertigmaß", "fertige länge", "fertige breite", "fertigmasse"),
        ),
        _of(
            "finishing",
            "Ausrüstung",
            "Was aus Rohware fertigen Stoff macht: Stopfen, dann die Gänge, nass und trocken.",
            also=("ausrüsten", "ausgerüstet"),
        ),
        _of(
            "fulling-milling",
            "Walken",
            "Wollstoff in nasser Wärme und Bewegung filzen: Er springt in Breite und Länge ein.",
            also=("gewalkt", "walke"),
        ),
        _of(
            "gait-up",
            "Vorrichten",
            "Einen Webstuhl mit anderem Blatt, Litzen und Kette ausstatten.",
            also=("vorgerichtet",),
        ),
        _of(
            "grey",
            "Roh",
            "Vom Stoff: wie er vom Webstuhl kommt, vor der Ausrüstung.",
            also=("rohlänge", "rohbreite", "rohmaß", "rohware", "rohmasse", "rohe länge", "rohe breite"),
        ),
        _of(
            "header",
            "Anweben",
            "Was zwischen zwei Stücken gewebt und weggeschnitten wird: Stoff für niemanden.",
            "m",
        ),
        _of(
            "heald",
            "Litze",
            "Der Draht mit dem Auge, durch das ein Faden geht; Litzen hängen an Schäften.",
            also=("litzen",),
        ),
        _of(
            "hold",
            "Reservierung",
            "Garn einer Partie, das für eine Kette, eine Behandlung oder aus einem Grund zurückgelegt und noch nicht"
            " entnommen ist.",
            "kg",
            also=("reserviert", "reservieren", "reservierung", "reservierungen"),
            is_common=True,
        ),
        _of(
            "lifting",
            "Aushebung",
            "Welche Schäfte bei welchem Schuss hochgehen.",
            also=("aushebungen",),
        ),
        _of(
            "list",
            "Salband",
            "Ein altes Wort für Leiste und für den Streifen, der davon abgeschnitten wird.",
            is_common=True,
        ),
        _of(
            "loom",
            "Webstuhl",
            "Was webt: Er hebt Fäden aus, trägt einen Schuss ein und schlägt ihn an.",
            also=("webstühle", "webstuhls", "webstühlen"),
        ),
        _of(
            "loom-hours",
            "Stuhlstunden",
            "Stunden, die ein Webstuhl für eine Kette läuft oder steht: Weben mit den Stillständen und Vorrichtung.",
            "h",
            also=("webstuhlstunden",),
        ),
        _of(
            "lot",
            "Partie",
            "Garn einer Färbepartie, das zusammen kam und zusammen liegt.",
            also=("partien", "garnpartie", "garnpartien"),
        ),
        _of(
            "mend",
            "Stopfen",
            "Von Hand einnähen, was beim Weben riss oder fehlt.",
            also=("gestopft", "stopferei", "zu stopfen"),
        ),
        _of(
            "on-hand",
            "Bestand",
            "Was nach dem Garnbuch im Lager liegt; was davon nicht reserviert ist, ist frei.",
            "kg",
            also=("bestände",),
        ),
        _of(
            "order-line",
            "Auftragszeile",
            "So viele Stücke eines Stoffs in einer Farbstellung, von einer Länge, auf einen Tag.",
            also=("auftragszeilen",),
        ),
        _of(
            "outlook",
            "Ausblick",
            "Wie sich der Bestand eines Garns in den kommenden Wochen ändert: was da ist, was kommt, was geplante"
            " Arbeit entnimmt.",
            "kg",
        ),
        _of(
            "overtaken",
            "Überholt",
            "Von einer Laufkarte: Durch eine spätere Änderung stimmen ihre Zahlen nicht mehr.",
            is_common=True,
        ),
        _of(
            "perch",
            "Warenschau",
            "Stoff über eine Stange gegen das Licht ziehen und nach Fehlern sehen.",
            also=("rohwarenschau", "fertigwarenschau", "geschaut"),
        ),
        _of(
            "pick",
            "Schusseintrag, Schüsse",
            "Ein Faden des Schusses, einmal eingetragen.",
            also=("schüssen", "schuss je cm", "schussdichte"),
        ),
        _of(
            "piece",
            "Stück",
            "Eine Länge Stoff mit einer Nummer, vom Webstuhl bis zum Kunden.",
            also=("stücke", "stücks", "stücken"),
        ),
        _of(
            "plan-in-force",
            "Geltender Plan",
            "Der Plan, nach dem der Websaal arbeitet; jeder andere ist ein Vorschlag.",
            also=("geltenden plan", "in kraft"),
        ),
        _of(
            "ply",
            "Zwirn",
            "Zwei oder mehr Garne, zusammengedreht; jedes davon ist ein Fach.",
            also=("zwirne", "gezwirnt", "fach"),
        ),
        _of(
            "points",
            "Punkte",
            "Was die Fehler eines Stücks in der Vier-Punkte-Bewertung ausmachen, auf 100 Quadratyard.",
        ),
        _of(
            "price",
            "Preis",
            "Was für ein Stück verlangt wird: seine Kosten mit einer Spanne, die ein Anteil des Preises ist.",
            also=("preise", "stückpreis", "preisen"),
        ),
        _of(
            "promise",
            "Zusage",
            "Der früheste Tag, den man einem Kunden sagen kann: Garn, Webstühle und Ausrüstung bedacht.",
            also=("zusagen", "zugesagt"),
        ),
        _of(
            "proposal",
            "Vorschlag",
            "Auftragszeilen, die sich eine Kette teilen könnten, und was das spart.",
            also=("vorschläge", "vorgeschlagen"),
        ),
        _of(
            "quarantine",
            "Quarantäne",
            "Garn, das abseits liegt und nicht entnommen wird, bis es jemand angesehen und freigegeben hat.",
        ),
        _of(
            "quote",
            "Angebot",
            "Kosten, Preis und Zusage für so viele Stücke, einem Kunden gesagt und so aufbewahrt.",
            also=("angebote", "angebots", "angeboten"),
        ),
        _of(
            "raise",
            "Rauhen",
            "Mit Karden oder Draht Fasern aus der Stoffseite ziehen.",
            also=("gerauht",),
        ),
        _of(
            "reed",
            "Webblatt",
            "Der Kamm, der die Fäden in Abstand hält und den Schuss anschlägt.",
            "Rohre je 10 cm",
            also=("webblätter", "blatt", "blätter", "webblatts"),
        ),
        _of(
            "reed-space",
            "Blattbreite",
            "So breit kann ein Webstuhl eine Kette höchstens im Blatt aufnehmen.",
            "cm",
            also=("breite im blatt",),
        ),
        _of(
            "regain",
            "Feuchtezuschlag",
            "Das Wasser im Garn, auf die ofentrockene Masse; gehandelt wird mit einem vereinbarten Zuschlag.",
            "%",
            also=("feuchtezuschläge",),
        ),
        _of(
            "repeat",
            "Rapport",
            "Die Fäden oder Schüsse, nach denen Einzug, Aushebung oder Farben von vorn beginnen.",
            also=("rapporte",),
        ),
        _of(
            "revision",
            "Revision",
            "Die Vorschrift eines Stoffs, wie sie von einem Tag an galt; was im Webstuhl ist, behält die seine.",
            also=("revisionen",),
        ),
        _of(
            "running-efficiency",
            "Nutzeffekt",
            "Der Anteil seiner Stunden an einer Kette, in dem der Webstuhl wirklich webt.",
            "%",
            also=("nutzeffekte",),
        ),
        _of("scour", "Waschen", "Die Rohware von Öl und Schlichte befreien.", also=("gewaschen",)),
        _of("second", "Zweite Wahl", "Ein Stück, das nicht als erste Wahl verkauft wird."),
        _of(
            "section",
            "Band",
            "Der Teil der Kettfäden, den das Gatter auf einmal schären kann.",
            also=("bänder", "bandschären", "bändern"),
        ),
        _of(
            "selvedge",
            "Leiste",
            "Der Rand des Stoffs, so gewebt, dass er nicht ausfranst.",
            also=("leisten",),
        ),
        _of(
            "sett",
            "Einstellung",
            "Wie dicht die Fäden liegen.",
            "je cm",
            also=("einstellungen", "fadendichte", "kettdichte"),
        ),
        _of(
            "set-up",
            "Vorrichtung",
            "Wofür ein Webstuhl zwischen zwei Ketten stillsteht: anknüpfen, einziehen oder vorrichten, und ein Blatt,"
            " wo es wechselt.",
            "h",
            also=("vorrichtungen",),
        ),
        _of(
            "shade",
            "Farbton",
            "Die Farbe einer Färbepartie neben der vereinbarten; jemand gibt sie frei, bevor eine Kette davon bekommt.",
            also=("farbtöne", "farbtons"),
        ),
        _of(
            "shaft",
            "Schaft",
            "Der Rahmen mit Litzen, der als Ganzes hoch- und niedergeht.",
            also=("schäfte", "schäften"),
        ),
        _of(
            "shrinkage",
            "Einsprung, Schrumpfung",
            "Um so viel macht ein Gang der Ausrüstung den Stoff kürzer oder schmaler.",
            "% des Maßes davor",
            also=("eingesprungen",),
        ),
        _of(
            "size",
            "Schlichte",
            "Was auf eine Kette kommt, damit sie den Webstuhl aushält, und wieder ausgewaschen wird.",
            also=("schlichteauftrag",),
        ),
        _of(
            "sley",
            "Blattstechen",
            "Fäden durch die Rohre des Webblatts ziehen; die Lade trägt das Blatt.",
            also=("blattstich", "gestochen", "lade"),
        ),
        _of("square-mass", "Flächenmasse", "Die Masse des Stoffs auf seine Fläche.", "g/m²"),
        _of("store", "Lager", "Wo Garn liegt: dunkel, trocken und auf Motten durchgesehen."),
        _of(
            "take-up",
            "Warenabzug",
            "Wie weit der Stoff bei jedem Schuss vorgezogen wird: Er ergibt die Schüsse je cm.",
        ),
        _of("tenter", "Spannen", "Stoff auf seine Breite gespannt trocknen.", also=("gespannt", "spannrahmen")),
        _of("tex", "Tex", "Eine Feinheit: Gramm auf 1 000 Meter."),
        _of("thrums", "Trumm", "Das Ende einer Kette, das sich nicht weben lässt.", "m", also=("trümmer", "trumms")),
        _of(
            "ticket",
            "Laufkarte",
            "Das Blatt, das mit Kette oder Stück durch den Betrieb geht. Seine Zahlen sind eingefroren, wenn es"
            " ausgestellt wird.",
            also=("laufkarten",),
        ),
        _of(
            "tie-in",
            "Anknüpfen",
            "Eine neue Kette, Faden für Faden, an die auslaufende knoten.",
            also=("angeknüpft",),
        ),
        _of(
            "tie-up",
            "Anschnürung",
            "Welche Schäfte jeder Tritt oder Hebel bewegt; mit der Trittfolge ergibt sie die Aushebung.",
        ),
        _of(
            "tolerance",
            "Toleranz",
            "Um so viel mehr oder weniger als bestellt nimmt der Kunde ab.",
            "%",
            also=("toleranzen",),
        ),
        _of(
            "trap",
            "Falle",
            "Eine Karte mit Leim und Lockstoff: Was sie fängt, sagt, ob Motten da sind.",
            also=("fallen",),
        ),
        _of("lure", "Lockstoff", "Was Motten in eine Falle zieht; er wird alt und erneuert.", also=("lockstoffe",)),
        _of(
            "core",
            "Kern",
            "Die Mitte einer Spule, die in einer Behandlung zuletzt warm oder kalt wird.",
            is_common=True,
        ),
        _of(
            "treatment",
            "Behandlung",
            "Kälte oder Wärme, die Motten und ihre Brut im Garn tötet, eine bestimmte Zeit lang im Kern gehalten.",
            also=("behandlungen",),
        ),
        _of(
            "warp",
            "Kette",
            "Die Fäden, die längs im Stoff liegen; auch sie alle zusammen, auf einen Baum gewickelt.",
            also=("ketten", "kettgarn"),
        ),
        _of(
            "weave", "Bindung", "Wie sich Kette und Schuss kreuzen: Einzug und Aushebung zusammen.", also=("bindungen",)
        ),
        _of(
            "weft",
            "Schuss",
            "Die Fäden, die quer im Stoff liegen.",
            also=("schussgarn", "schussfolge", "schussgarne", "schussfarben", "schusspartie"),
        ),
        _of(
            "wind",
            "Schären",
            "Die Fäden einer Kette nebeneinander legen, Band für Band, und auf einen Baum bringen.",
            also=("geschärt", "schärerei"),
        ),
        _of(
            "yarn",
            "Garn",
            "Fasern, zu einem Faden gesponnen, von einer Feinheit und einer Farbe.",
            also=("garne", "garnen", "garns"),
        ),
    )
)
