"""Best values known of public orienteering instances, written down from memory of the papers' tables.

The values were not read from the papers again: check one before anything rests on it.

OP: Tsiligirides (1984) and Chao, Golden, Wasil (1996), with the values of Schilde, Doerner, Hartl, Kiechle (2009),
optima since. TOPTW: the best of Vansteenwegen et al. (2009), Montemanni and Gambardella (2009), Righini and Salani
(2009), Lin and Yu (2012), Hu and Lim (2014), Cura (2014), Gunawan, Lau, Lu (2015), as the survey of Gunawan, Lau,
Vansteenwegen (2016) and later papers collect them. TOP: Chao, Golden, Wasil (1996), with the values of Souffriau et al.
(2010) and Dang, Guibadj, Moukrim (2013). Where a search exceeds one of these, the benchmark says so.
"""

from __future__ import annotations


def _table(text):
    """Read ``name value name value ...``."""
    words = text.split()
    return {name: int(value) for name, value in zip(words[::2], words[1::2], strict=True)}


OP = {
    "tsiligirides_1": _table(
        "5 10 10 15 15 45 20 65 25 90 30 110 35 135 40 155 46 175 50 190 55 205 60 225 65 240 70 260 73 265 75 270 "
        "80 280 85 285"
    ),
    "tsiligirides_2": _table("15 120 20 200 23 210 25 230 27 230 30 265 32 300 35 320 38 360 40 395 45 450"),
    "tsiligirides_3": _table(
        "15 170 20 200 25 260 30 320 35 390 40 430 45 470 50 520 55 550 60 580 65 610 70 640 75 670 80 710 85 740 "
        "90 770 95 790 100 800 105 800 110 800"
    ),
    "chao_64": _table(
        "15 96 20 294 25 390 30 474 35 576 40 714 45 816 50 900 55 984 60 1062 65 1116 70 1188 75 1236 80 1284"
    ),
    "chao_66": _table(
        "5 10 10 40 15 120 20 205 25 290 30 400 35 465 40 575 45 650 50 730 55 825 60 915 65 980 70 1070 75 1140 "
        "80 1215 85 1270 90 1340 95 1395 100 1465 105 1520 110 1560 115 1595 120 1635 125 1670 130 1680"
    ),
}

TOPTW = {
    1: _table(
        "c101 320 c102 360 c103 400 c104 420 c105 340 c106 340 c107 370 c108 370 c109 380 "
        "r101 198 r102 286 r103 293 r104 303 r105 247 r106 293 r107 299 r108 308 r109 277 r110 284 r111 297 r112 298 "
        "rc101 219 rc102 266 rc103 266 rc104 301 rc105 244 rc106 252 rc107 277 rc108 298 "
        "c201 870 c202 930 c203 960 c204 980 c205 910 c206 930 c207 930 c208 950 "
        "r201 797 r202 930 r203 1028 r204 1093 r205 953 r206 1032 r207 1077 r208 1117 r209 961 r210 1000 r211 1051 "
        "rc201 795 rc202 938 rc203 1003 rc204 1140 rc205 859 rc206 899 rc207 983 rc208 1057 "
        "pr01 308 pr02 404 pr03 394 pr04 489 pr05 595 pr06 591 pr07 298 pr08 463 pr09 493 pr10 594 "
        "pr11 353 pr12 442 pr13 467 pr14 567 pr15 708 pr16 674 pr17 362 pr18 539 pr19 562 pr20 667"
    ),
    2: _table(
        "c101 590 c102 660 c103 720 c104 760 c105 640 c106 620 c107 670 c108 680 c109 720 "
        "r101 349 r102 508 r103 522 r104 552 r105 453 r106 529 r107 538 r108 560 r109 506 r110 525 r111 544 r112 544 "
        "rc101 427 rc102 505 rc103 524 rc104 575 rc105 480 rc106 483 rc107 534 rc108 556 "
        "c201 1460 c202 1470 c203 1480 c204 1490 c205 1470 c206 1480 c207 1490 c208 1490 "
        "r201 1254 r202 1347 r203 1416 r204 1458 r205 1380 r206 1440 r207 1458 r208 1458 r209 1405 r210 1423 "
        "r211 1458 rc201 1384 rc202 1509 rc203 1632 rc204 1718 rc205 1458 rc206 1546 rc207 1587 rc208 1691 "
        "pr01 502 pr02 715 pr03 742 pr04 926 pr05 1101 pr06 1076 pr07 566 pr08 834 pr09 909 pr10 1134 "
        "pr11 566 pr12 774 pr13 843 pr14 1017 pr15 1219 pr16 1231 pr17 652 pr18 953 pr19 1034 pr20 1241"
    ),
}

TOP = _table(
    "p4.2.a 206 p4.2.b 341 p4.2.c 452 p4.2.d 531 p4.2.e 618 p4.2.f 687 p4.2.g 757 p4.2.h 835 p4.2.i 918 p4.2.j 965 "
    "p4.2.k 1022 p4.2.l 1074 p4.2.m 1132 p4.2.n 1174 p4.2.o 1218 p4.2.p 1242 p4.2.q 1268 p4.2.r 1292 p4.2.s 1304 "
    "p4.2.t 1306 p4.3.c 193 p4.3.d 335 p4.3.e 468 p4.3.f 579 p4.3.g 653 p4.3.h 729 p4.3.i 809 p4.3.j 861 p4.3.k 919 "
    "p4.3.l 979 p4.3.m 1063 p4.3.n 1121 p4.3.o 1172 p4.3.p 1222 p4.3.q 1253 p4.3.r 1273 p4.3.s 1295 p4.3.t 1305 "
    "p4.4.e 183 p4.4.f 324 p4.4.g 461 p4.4.h 571 p4.4.i 657 p4.4.j 732 p4.4.k 821 p4.4.l 880 p4.4.m 919 p4.4.n 977 "
    "p4.4.o 1061 p4.4.p 1124 p4.4.q 1161 p4.4.r 1216 p4.4.s 1260 p4.4.t 1285 "
    "p5.2.h 410 p5.2.j 580 p5.2.k 670 p5.2.l 800 p5.2.m 860 p5.2.n 925 p5.2.o 1020 p5.2.p 1150 p5.2.q 1195 "
    "p5.2.r 1260 p5.2.s 1340 p5.2.t 1400 p5.2.u 1460 p5.2.v 1505 p5.2.w 1565 p5.2.x 1610 p5.2.y 1645 p5.2.z 1680 "
    "p5.3.k 495 p5.3.l 595 p5.3.m 650 p5.3.n 755 p5.3.o 870 p5.3.p 990 p5.3.q 1070 p5.3.r 1125 p5.3.s 1190 "
    "p5.3.t 1260 p5.3.u 1345 p5.3.v 1425 p5.3.w 1485 p5.3.x 1555 p5.3.y 1595 p5.3.z 1635 "
    "p5.4.m 555 p5.4.o 690 p5.4.p 765 p5.4.q 860 p5.4.r 960 p5.4.s 1030 p5.4.t 1160 p5.4.u 1300 p5.4.v 1320 "
    "p5.4.w 1390 p5.4.x 1450 p5.4.y 1520 p5.4.z 1620 "
    "p6.2.d 192 p6.2.j 948 p6.2.l 1116 p6.2.m 1188 p6.2.n 1260 p6.3.g 282 p6.3.h 444 p6.3.i 642 p6.3.k 894 "
    "p6.3.l 1002 p6.3.m 1080 p6.3.n 1170 p6.4.j 366 p6.4.k 528 p6.4.l 696 p6.4.m 912 p6.4.n 1068 "
    "p7.2.d 190 p7.2.e 290 p7.2.f 387 p7.2.g 459 p7.2.h 521 p7.2.i 580 p7.2.j 646 p7.2.k 705 p7.2.l 767 p7.2.m 827 "
    "p7.2.n 888 p7.2.o 945 p7.2.p 1002 p7.2.q 1044 p7.2.r 1094 p7.2.s 1136 p7.2.t 1179 "
    "p7.3.h 425 p7.3.i 487 p7.3.j 564 p7.3.k 633 p7.3.l 684 p7.3.m 762 p7.3.n 820 p7.3.o 874 p7.3.p 929 p7.3.q 987 "
    "p7.3.r 1026 p7.3.s 1081 p7.3.t 1120 p7.4.g 217 p7.4.h 285 p7.4.i 366 p7.4.j 462 p7.4.k 520 p7.4.l 590 "
    "p7.4.m 646 p7.4.n 730 p7.4.o 781 p7.4.p 846 p7.4.q 909 p7.4.r 970 p7.4.s 1022 p7.4.t 1077"
)
