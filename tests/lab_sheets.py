"""One sample of a lab, and the sheets that tests write it into."""

SUCTION, WATER = [10.0, 20.0, 30.0, 40.0], [0.378, 0.284, 0.194, 0.140]
OTHER = [0.40, 0.36, 0.30, 0.22]
IN_KPA = 10.1972  # cm of water (NIST SP 811, 2008, Appendix B.8)
ROWS = "10,37.8\n20,28.4\n30,19.4\n40,14\n"
IN_BAR = "0.01,37.8\n0.02,28.4\n0.03,19.4\n0.04,14\n"
TWO = "10,37.8,40\n20,28.4,36\n30,19.4,30\n40,14,22\n"


def written(tmp_path, text):
    path = tmp_path / "sheet.csv"
    path.write_text(text, encoding="utf-8")
    return path


def points(lab):
    """Mean water content of each suction."""
    return lab.points.suction.tolist(), lab.points.water_content.tolist()


ONE_SAMPLE = {
    "columns in bar": f"suction (bar),VWC (%)\n{IN_BAR}",
    "columns in mbar": f"suction (mbar),VWC (%)\n{ROWS}",
    "columns in MPa": "suction (MPa),VWC (%)\n.001,37.8\n.002,28.4\n.003,19.4\n.004,14\n",
    "a column of units": "suction,unit,VWC (%)\n"
    + "".join(f"{h},kPa,{w}\n" for h, w in [(1, 37.8), (2, 28.4), (3, 19.4), (4, 14)]),
    "values named by their units alone": "value,unit,VWC,unit\n"
    + "".join(f"{h},kPa,{w},%\n" for h, w in [(1, 37.8), (2, 28.4), (3, 19.4), (4, 14)]),
    "energy by mass": "potential (J/kg),VWC (%)\n-1,37.8\n-2,28.4\n-3,19.4\n-4,14\n",
    "mercury": "suction (mm Hg),VWC (%)\n7.36,37.8\n14.71,28.4\n22.07,19.4\n29.42,14\n",
    "a column of units for each": "suction,suction unit,water content,unit\n"
    + "".join(f"{row},cm,{w},% by volume\n" for row, w in
              [(10, 37.8), (20, 28.4), (30, 19.4), (40, 14)]),
    "suctions along the top": "suction (cm),10,20,30,40\nVWC (%),37.8,28.4,19.4,14\n",
    "water contents at suctions": "VWC at 10 cm (%),VWC at 20 cm (%),VWC at 30 cm (%),"
    "VWC at 40 cm (%)\n37.8,28.4,19.4,14\n",
    "suctions in compact names": "WC_10cm (% vol),WC_20cm (% vol),WC_30cm (% vol),WC_40cm (% vol)\n"
    "37.8,28.4,19.4,14\n",
    "suctions along the top, cores and their mean": "Core,VWC (%) at 10 cm,VWC (%) at 20 cm,"
    "VWC (%) at 30 cm,VWC (%) at 40 cm\n1,37.6,28.4,19.3,14\n2,38.0,28.4,19.5,14\n"
    "Mean,37.8,28.4,19.4,14\nSD,.3,0,.1,0\n",
    "rows named like columns": "point,1,2,3,4\nsuction (cm),10,20,30,40\n"
    "VWC (%),37.8,28.4,19.4,14\n",
    "a fact below suctions along the top": "suction (cm);10;20;30;40\nVWC (%);37,8;28,4;19,4;14,0\n"
    "bulk density (g/cm3);1,55;;;\n",
    "columns of fixed width": "suction (cm)   VWC (%)\n10      37.8\n20      28.4\n30      19.4\n"
    "40      14.0\n",
    "capitals": "PRESSURE (PSI),MOISTURE (% BY VOLUME)\n.1422,37.8\n.2845,28.4\n"
    ".4267,19.4\n.5689,14\n",
    "one name in three spellings": "sample,suction (cm),VWC (%)\nMix A,10,37.8\nmix a,20,28.4\n"
    "Mix  A,30,19.4\nMIX A,40,14\n",
    "names over two lines": f"Suction,Water\n,content\n(cm),(% by volume)\n{ROWS}",
    "merged names over replicates": "suction,VWC (%),\n(cm),rep 1,rep 2\n"
    "10,37.6,38.0\n20,28.4,28.4\n30,19.3,19.5\n40,14,14\n",
    "numbers of cores under one name": "suction (cm),VWC (%),VWC (%)\n,core 1,core 2\n"
    "10,37.6,38.0\n20,28.4,28.4\n30,19.3,19.5\n40,14,14\n",
    "scatter within cells": "suction (cm),VWC (%)\n10,37.8 ± 0.5\n20,28.4 +/- 0.5\n30,19.4 ± 0.4\n"
    "40,14.0 ± 0.3\n",
    "replicates by letter": "suction (cm),Rep A (% vol),Rep B (% vol)\n"
    "10,37.6,38.0\n20,28.4,28.4\n30,19.3,19.5\n40,14,14\n",
    "replicates by number alone": "suction (cm),VWC 1 (%),VWC 2 (%)\n"
    "10,37.6,38.0\n20,28.4,28.4\n30,19.3,19.5\n40,14,14\n",
    "mean and scatter beside replicates": "suction (cm),VWC rep 1 (%),VWC rep 2 (%),mean VWC (%),SD"
    "\n10,37.6,38.0,37.8,.3\n20,28.4,28.4,28.4,0\n30,19.3,19.5,19.4,.1\n40,14,14,14,0\n",
    "mean and scatter alone": "suction (cm),mean VWC (%),SD (%),n\n"
    "10,37.8,.8,3\n20,28.4,.9,3\n30,19.4,1.1,3\n40,14,.7,3\n",
    "means below replicates": "core,suction (cm),VWC (%)\n"
    + "".join(f"{core},{row}\n" for core in (1, 2) for row in ROWS.split())
    + "mean,10,20\nSD,10,1\n",
    "a total below": f"suction (cm),VWC (%)\n{ROWS}mean,24.9\n",
    "an oven-dry row": f"suction (cm),VWC (%)\n{ROWS}oven dry,0\n",
    "both branches in a column": "branch,suction (cm),VWC (%)\n"
    + "".join(f"drying,{row}\n" for row in ROWS.split())
    + "wetting,30,14\nwetting,20,18\nwetting,10,27\n",
    "main branches": "curve,suction (cm),VWC (%)\n"
    + "".join(f"main drying,{row}\n" for row in ROWS.split())
    + "REWET,30,14\nREWET,20,18\nREWET,10,27\n",
    "both branches side by side": "suction (cm),VWC drying (%),VWC wetting (%)\n"
    "10,37.8,27\n20,28.4,18\n30,19.4,14\n40,14,12\n",
    "both branches under headings": f"suction (cm),VWC (%)\nDrying,\n{ROWS}Wetting,\n30,14\n"
    "10,27\n",
    "a word that holds sorption": f"Desorption curve\nsuction (cm),VWC (%)\n{ROWS}",
    "an apparatus and an agent": f"Water sorption apparatus\nMix with wetting agent\n"
    f"suction (cm),VWC (%)\n{ROWS}",
    "a logger": '"TOA","lab","mix","x"\n"TIMESTAMP","RECORD","suction","vwc"\n'
    '"TS","RN","cm","m3/m3"\n"","","Avg","Avg"\n'
    '"2025-07-01 00:00",1,10,.378\n"2025-07-01 01:00",2,20,.284\n'
    '"2025-07-01 02:00",3,30,.194\n"2025-07-01 03:00",4,40,.14\n',
    "a logger that gives kinds before units": "suction,vwc\nAvg,Avg\ncm,m3/m3\n10,.378\n20,.284\n"
    "30,.194\n40,.14\n",
    "suction in two units": "suction (cm),suction (kPa),VWC (%)\n"
    "10,.98,37.8\n20,1.96,28.4\n30,2.94,19.4\n40,3.92,14\n",
    "by mass beside by volume": "suction (cm),gravimetric water (%),volumetric water (%)\n"
    "10,24.4,37.8\n20,18.3,28.4\n30,12.5,19.4\n40,9,14\n",
    "a degree of saturation and millimetres beside": "suction (cm),water (mm),VWC (%),degree of "
    "saturation (%)\n10,38,37.8,95\n20,28,28.4,71\n30,19,19.4,48\n40,14,14,35\n",
    "dashes for not measured": f"suction (cm),VWC (%)\n{ROWS}60,---\n",
    "German": "Probe;Saugspannung (hPa);Wassergehalt (Vol.-%)\nA;10;37,8\nA;20;28,4\nA;30;19,4\n"
    "A;40;14,0\n",
    "German logarithm": "pF-Wert;Wassergehalt [Vol.-%]\n1;37,8\n1,30103;28,4\n1,47712;19,4\n"
    "1,60206;14,0\n",
    "German water column": "Matrixpotenzial (cm WS);Vol.-% Wasser\n-10;37,8\n-20;28,4\n-30;19,4\n"
    "-40;14,0\n",
    "French": "Échantillon;Pression (cm d'eau);Teneur en eau volumique (%)\nA;10;37,8\nA;20;28,4\n"
    "A;30;19,4\nA;40;14,0\n",
    "French potential": "Potentiel matriciel (hPa);Humidité volumique (%)\n-10;37,8\n-20;28,4\n"
    "-30;19,4\n-40;14,0\n",
    "a bound at the dry end": f"suction (cm),VWC (%)\n{ROWS}500,<2\n>15000,1\n600,less than 1.5\n",
    "a suction with the words of water": "soil moisture tension (kPa),VWC (%)\n"
    ".98,37.8\n1.96,28.4\n2.94,19.4\n3.92,14\n",
    "a potential of water": "water potential (kPa),VWC (%)\n-.98,37.8\n-1.96,28.4\n-2.94,19.4\n"
    "-3.92,14\n",
    "a logarithm that says of what": "log10 h (kPa),theta\n-.00851,.378\n.29252,.284\n.46861,.194\n"
    ".59355,.14\n",
    "a logarithm of h": "log h,theta\n1,.378\n1.30103,.284\n1.47712,.194\n1.60206,.14\n",
    "a hanging column": f"hanging water column (cm),VWC (%)\n{ROWS}",
    "one unit by two names": f"hPa / cm WS;Vol.-%\n{ROWS.replace(',', ';')}",
    "matric head with a mark": "ψm [kPa],θv [-]\n-.98,.378\n-1.96,.284\n-2.94,.194\n-3.92,.14\n",
    "a head between bars": f"|h| [cm],θ [%]\n{ROWS}",
    "wide brackets": f"suction（cm）,VWC（％）\n{ROWS}",
    "pores that hold water and pores of air": "suction (cm),air-filled porosity (%),capillary "
    "porosity (%)\n10,2.2,37.8\n20,11.6,28.4\n30,20.6,19.4\n40,26,14\n",
    "pores of air alone": "Total porosity: 40 %\nsuction (cm),air-filled porosity (%)\n10,2.2\n"
    "20,11.6\n30,20.6\n40,26\n",
    "litres in a cubic metre": "suction (cm),water (L/m3)\n10,378\n20,284\n30,194\n40,140\n",
    "millimetres in a decimetre": f"suction (cm),water (mm/100 mm)\n{ROWS}",
    "grams to a kilogram": "Bulk density: 1.6 g/cm3\nsuction (cm),water (g/kg)\n10,236.25\n"
    "20,177.5\n30,121.25\n40,87.5\n",
    "parts in a thousand": "suction (cm),water content (‰ vol)\n10,378\n20,284\n30,194\n40,140\n",
    "letters for branches": "D/W,suction (cm),VWC (%)\n"
    + "".join(f"D,{row}\n" for row in ROWS.split())
    + "W,30,14\nW,20,18\nW,10,27\n",
    "a workbook's word for nothing": f"suction (cm),VWC (%)\n{ROWS}60,#N/A\n90,#NV\n",
    "pounds in a cubic foot": "Dry density: 98.6 pcf\nsuction (cm),water (g/g)\n"
    "10,0.23932828700\n20,0.17981278706\n"
    "30,0.12282986158\n40,0.08864010629\n",
    "Spanish": "Muestra;Succión (cm);Contenido volumétrico de agua (%)\nA;10;37,8\nA;20;28,4\n"
    "A;30;19,4\nA;40;14,0\n",
    "Spanish potential": "Potencial mátrico (cm c.a.);Humedad (% en volumen)\n-10;37,8\n-20;28,4\n"
    "-30;19,4\n-40;14,0\n",
}  # fmt: skip
