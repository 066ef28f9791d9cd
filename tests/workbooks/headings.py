"""How lists are headed in six languages."""

from __future__ import annotations

SHARPENINGS = {
    "English": ["Tool no", "Date sharpened", "Hits", "Ground off [mm]", "Reason", "Done by"],
    "German": ["Werkzeug-Nr.", "Schleifdatum", "Hübe seit Schliff", "Abtrag [mm]", "Grund", "Bearbeiter"],
    "French": ["N° outil", "Date affûtage", "Nb coups", "Enlevé [mm]", "Raison", "Opérateur"],
    "Spanish": ["Troquel", "Fecha afilado", "Golpes", "Rebajado [mm]", "Motivo", "Operario"],
    "Italian": ["Stampo", "Data affilatura", "Colpi", "Asportato [mm]", "Motivo", "Operatore"],
    "Polish": ["Nr tłocznika", "Data ostrzenia", "Liczba uderzeń", "Zebrane [mm]", "Powód", "Operator"],
}
COMPONENTS = {
    "English": ["Tool", "Station", "Pos", "Component", "Steel", "Hardness HRC", "Gap %", "Length [mm]"],
    "German": ["Werkzeug", "Stufe", "Pos.", "Bauteil", "Werkstoff", "Härte HRC", "Schneidspalt %", "Länge [mm]"],
    "French": ["Outil", "Poste", "Repère", "Composant", "Acier", "Dureté HRC", "Jeu %", "Longueur [mm]"],
    "Spanish": ["Troquel", "Estación", "Posición", "Componente", "Acero", "Dureza HRC", "Holgura %", "Longitud [mm]"],
    "Italian": ["Stampo", "Stazione", "Posizione", "Componente", "Acciaio", "Durezza HRC", "Gioco %", "Lunghezza [mm]"],
    "Polish": ["Tłocznik", "Stacja", "Pozycja", "Rodzaj", "Stal", "Twardość HRC", "Luz %", "Długość [mm]"],
}
KINDS = {
    "English": "pierce punch",
    "German": "Lochstempel",
    "French": "poinçon",
    "Spanish": "punzón",
    "Italian": "punzone",
    "Polish": "stempel tnący",
}
STOCK = {
    "English": ["Spare", "Description", "In stock", "On order", "Lead time (weeks)", "Unit price"],
    "German": ["Artikelnummer", "Bezeichnung", "Bestand", "Bestellt", "Lieferzeit (Wochen)", "Stückpreis"],
    "French": ["Référence", "Désignation", "Stock actuel", "En commande", "Délai (semaines)", "Prix unitaire"],
    "Spanish": ["Código recambio", "Descripción", "Existencias", "En pedido", "Plazo (semanas)", "Precio unitario"],
    "Italian": ["Codice ricambio", "Descrizione", "Giacenza", "In ordine", "Consegna (settimane)", "Prezzo unitario"],
    "Polish": ["Indeks", "Nazwa", "Na stanie", "Zamówione", "Czas dostawy (tyg)", "Cena jedn."],
}
