"""Where every figure beside a result comes from.

Each was read in a stored copy or abstract, often a reprint or a page that quotes it; `note` says
which. A figure that nobody could confirm is not shown.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Source:
    """A publication, and where the figure beside it was read."""

    cite: str
    note: str = ""

    def __str__(self) -> str:
        return self.cite


@dataclass(frozen=True, slots=True)
class Finding:
    """One sentence beside a result, and whose it is.

    `flag` marks what the source itself counts as a higher risk or as below its cut-off. A finding
    says how a result compares with a published figure; it is never a diagnosis.
    """

    says: str
    source: Source
    flag: bool = False


@dataclass(frozen=True, slots=True)
class Norm:
    """A published figure for people like the client, to set a result beside.

    `value` in `unit`; `low` and `high` are its 95% interval or its spread, as `words` says.
    """

    words: str
    value: float
    unit: str
    source: Source
    low: float | None = None
    high: float | None = None


NOT_A_DIAGNOSIS = (
    "A screening result beside published figures, for a trainer to weigh. It is not a diagnosis."
)

STEADI_FOUR_STAGE = Source(
    'CDC STEADI, "The 4-Stage Balance Test", assessment sheet, 2017', note="two reprints of it"
)
STEADI_CHAIR = Source(
    'CDC STEADI, "30-Second Chair Stand", assessment sheet, 2017, after Rikli & Jones 1999',
    note="a reprint of it",
)
STEADI_TUG = Source(
    'CDC STEADI, "Timed Up and Go", assessment sheet', note="a quotation of the sheet"
)
GURALNIK_1994 = Source(
    "Guralnik et al. 1994, J Gerontol 49(2):M85-M94",
    note="cut points read in the PHOSP-COVID study's data dictionary and in PMC3032402 Table 3",
)
SPPB_4M = Source(
    "Short Physical Performance Battery, 4 m course (after Guralnik et al. 1994)",
    note="cut points read in the PHOSP-COVID study's data dictionary",
)
SPPB_3M = Source(
    "Short Physical Performance Battery, 3 m course (after Guralnik et al. 1994)",
    note="the cut points read in PMC3032402 Table 3, which prints them as 4 m; taken as the 3 m "
    "course's, for only so are they the same walking speeds as the 4 m ones",
)
SPPB_CHAIR = Source(
    "Short Physical Performance Battery, chair stands (after Guralnik et al. 1994)",
    note="cut points read in PMC3032402 Table 3 and in the PHOSP-COVID study's data dictionary",
)
PERERA_2006 = Source("Perera et al. 2006, J Am Geriatr Soc", note="abstract")
BOHANNON_2006_STANDS = Source(
    "Bohannon 2006, Percept Mot Skills 103:215-222 (13 papers)", note="abstract"
)
LUSARDI_2017 = Source(
    "Lusardi et al. 2017 (a systematic review)", note="a clinical wiki's page that quotes it"
)
BUATOIS_2008 = Source(
    "Buatois et al. 2008, J Am Geriatr Soc 56:1575-1577 (2,735 people of 65 and over)",
    note="two clinical pages that quote it",
)
GOLDBERG_2012 = Source(
    "Goldberg et al. 2012, Aging Clin Exp Res 24:339-344 (29 women, mean age 73.6)",
    note="abstract",
)
GURALNIK_1995 = Source(
    "Guralnik et al. 1995, N Engl J Med 332:556-561", note="PMC2845214 Table 1, which restates it"
)
SHUMWAY_COOK_2000 = Source(
    "Shumway-Cook et al. 2000, Phys Ther 80:896-903", note="read as a threshold in PMC8453123"
)
MONTERO_ODASSO_2022 = Source(
    "Montero-Odasso et al. 2022, Age Ageing 51(9):afac205",
    note="its 15 s read in a report on a later study of the same algorithm",
)
BARRY_2014 = Source("Barry et al. 2014, BMC Geriatr 14:14", note="abstract")
BOHANNON_2006_TUG = Source(
    "Bohannon 2006, J Geriatr Phys Ther 29:64-68 (21 studies, 4,395 people)",
    note="abstract, and PMC4330968 Table 2",
)
BOHANNON_2006_ONE_LEG = Source(
    "Bohannon 2006, Top Geriatr Rehabil 22(1):70-77 (22 studies, 3,484 people of 60 to 99)",
    note="abstract",
)
SPRINGER_2007_MEAN = Source(
    "Springer et al. 2007, J Geriatr Phys Ther 30(1):8-15 (549 healthy adults)",
    note="means of three tries read, rounded, on a therapy clinic's page",
)
VELLAS_1997 = Source(
    "Vellas et al. 1997, J Am Geriatr Soc 45:735-738 (316 people, mean age 73)", note="abstract"
)
ARAUJO_2022 = Source(
    "Araujo et al. 2022, Br J Sports Med (1,702 people of 51 to 75)",
    note="abstract and a news report",
)
OLIVEIRA_2018 = Source(
    "Oliveira et al. 2018, PLoS ONE 13(9):e0203887 (170 people, mean age 67)", note="abstract"
)
GOLDBERG_2011 = Source(
    "Goldberg et al. 2011, Gait Posture 33:737-739 (25 adults of 60 to 89)", note="abstract"
)
WHO_2020 = Source("WHO 2020 guidelines on physical activity", note="two course pages restating it")
SHERRINGTON_2019 = Source(
    "Sherrington et al. 2019, Cochrane CD012424.pub2 (108 trials, 23,407 people)", note="abstract"
)
MORELAND_2020 = Source("Moreland et al. 2020, MMWR 69(27):875-881", note="MMWR page")
LAMB_2005 = Source(
    "Lamb et al. 2005 (ProFaNE), J Am Geriatr Soc 53:1618-1622", note="PMC4785736 Table 1"
)
YARDLEY_2005 = Source(
    "Yardley et al. 2005, Age Ageing 34:614-619",
    note="the reference from memory; 16 questions, 16 to 64 points, from a page that describes it",
)
KEMPEN_2008 = Source(
    "Kempen et al. 2008, Age Ageing 37:45-50",
    note="abstract; 7 to 28 points from a paper that uses it",
)
COMMON_PRACTICE = Source("common practice, no source")
