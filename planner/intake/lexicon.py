"""Words of headers, in the languages that spreadsheets are exported in, by the concept that they stand for.

They are dictionary words without accents, in lower case. One of five letters or more counts wherever a header's word
holds it (``filialnummer`` holds ``filial``); a shorter one has to be the whole word; ``=`` asks for that of a long
one too, and ``+`` lets a short one begin a word.
"""

from collections.abc import Mapping

_WORDS: Mapping[str, str] = {
    "SITE": """branch store shop site =sites location outlet clinic depot +station mast masts tower plant farm
    school hotel restaurant pharmacy kiosk office facility premises property terminal warehouse surgery ward
    library theatre cinema salon garage bakery parlour gym unit filial standort markt laden niederlassung
    betrieb werk praxis apothek klinik geschaft objekt tankstell agence magasin succursale boutique
    etablissement pharmacie lieu sucursal tienda =local oficina farmacia sede =centro filiale negozio agenzia
    ospedale vestiging winkel locatie filiaal butik apotek oddzial sklep placowk lokalizac apteka pobock
    prodejn lekarn loja unidade agencia sube magaza toimipist myymala affar kontor tank lager dealer garden
    centre_shop zweigstell aussenstell spital gare entrepot estacion almacen punto stazione punkt placowka
    restauracj hotell forretning edificio gebaude batiment gebouw budynek филиал магазин отделение объект
    точка""",
    "HUB": """hub hubs +datacent +datacentr dc dcs rz rechenzentr colo pop pops aggregation rechenzentrum
    serverraum centre_de_donnees centro_de_datos cpd datacentrum centrum_danych serverown ced centro_dati
    centro_elaborazione data_cent datove_cent datov data_zentrum datahall datasal konesali datasenter
    veri_merkezi exchange core_site knoten zentrale dctr hosting room_code +stutzpunkt regional_office core
    noeud nodo_central node_site rack цод""",
    "ID": """no nr num number id ids code codes =key ref reference nummer kennung kurzel kurzzeich kz kennz
    numero matricule sigle clave codigo identificador codice sigla identific numer kod kode kodi cislo
    oznaceni cod tunnus # № номер код nro idx abbr short ident""",
    "NAME": """name names bezeichn benennung title label descr nom libelle intitule designation nombre
    denominac nome denominazion naam omschrijv navn namn nazwa nazev nimi isim назван наименован town city
    place ort stadt ville ciudad citta stad miasto mesto by cidade localidad localita address adress anschrift
    adresse direccion indirizzo adres""",
    "REGION": """region area district gebiet land bezirk bundesland county province provinz provincia
    departement division territor distrito comarca regione regio kommune wojewodztw kraj =zone_region circuit
    cluster_region lan bereich secteur sector oblast regiao bolge alue регион область""",
    "OWNER": """owner contact manager responsible verantwort ansprechpart leiter leitung responsable gerente
    titolare referente eigenaar kierownik vedouci ansvarig kontakt контакт""",
    "LAT": "lat latitude breite breitengrad latitud latitudine szerokosc sirka breddegrad latitudo широта",
    "LON": """lon lng long longitude lange langengrad longitud longitudine dlugosc delka lengdegrad
    lengtegraad долгота""",
    "CLUSTER": """cluster kluster verbund grappe racimo klaster clust pair pairs paar paare paires pares
    coppie 2n two_node 2_node zweiknoten zwei_knoten ha_pair bi_noeud deux_noeuds dos_nodos due_nodi klastr
    кластер""",
    "COUNT": """count qty quantity anzahl menge stuck nombre nb nbre cantidad quant ilosc pocet aantal antal
    how_many number_of no_of num_of num_de numero_de numero_di liczba quantita total installed""",
    "RELEASE": """release version firmware build +fw sw software level stand_sw softwarestand ausgabe wersja
    verze versie versao versione patchlevel patch niveau_logiciel logiciel ver rel oprogramow surum versjon
    программ верси""",
    "TARGET": "target planned future ziel geplant soll cible prevu objetivo previsto doel cel docel cilov next",
    "LIMIT": """max maxim hogst limit budget allowed tolerance tolerate toler threshold sla grenz grenze
    zulassig hochst obergrenz schwell seuil limite plafond admis tope umbral admitid massim soglia ammess
    limiet maks granica dopuszcz acceptable ceiling roof allow target_rtt предел""",
    "RTT": """rtt latenc latenz round_trip roundtrip laufzeit umlaufzeit umlauf ping delay verzoger latence latencia
    latenza latentie aller_retour ida_y_vuelta andata_ritorno response antwortzeit reaktionszeit opoznieni
    odezva zpozden svarstid fordrojning viive gecikme latens vertrag odezv heen_en_weer heen_en_terug
    tam_i_z_powrotem pingtid responstijd задерж =ms msec millisecond rt""",
    "WEIGHT": "weight importance gewicht wichtigk poids importanc peso belang waga vaha priority prioritat priorite",
    "ZONE": """zone zones failure power feed fault fire provider brandabschnitt ausfallzone stromkreis
    einspeis alimentation zona alimentacion alimentazion voeding storing zasilani strefa carrier""",
    "PIN": """pinned fixed must mandatory fest gebunden zwingend impose obligatoire fijo obligatorio fisso
    vast pevny required_hub stale""",
    "BAR": """barred excluded forbidden never not gesperrt verboten ausgeschloss exclu interdit excluid
    prohibid escluso vietato uitgesloten wykluczon zakazan nicht""",
    "CURRENT": """current bisher today present now today's heute aktuell derzeit ist jetzig bestehend actuel aujourd
    actual hoy atual hoje attual oggi huidig nu vandaag obecn dzis soucasn dnes nuvar assigned serving served
    serves zugeordnet zugewiesen affect asignad assegnat toegewezen przypisan nykyinen nuvarande idag mevcut
    uses using connected bedient texte_actuel текущ""",
    "HOST": """host hosts server servers appliance serveur servidor serwer anfitrion hote machine maskin tb
    tbh tie_breaker tiebreaker third_vote third_voter voter arbiter arbitr arbitro dritte_stimme drittstimme
    troisieme_voix schiedsrichter vard vardar tercer_voto terzo_voto stichentscheid хост""",
    "TB": """tie_breaker tiebreaker third_vote third_voter voter arbiter dritte_stimme drittstimme
    stichentscheid tb troisieme_voix tercer_voto terzo_voto""",
    "OWN": """own local built_in internal onboard eigen eigene intern lokal propre interne propio interno
    eigen_tb wlasn vlastni integrated integriert integre""",
    "MAX": """mist max maxim most hogst limit hochst hochstens maximal capacity kapazitat capacite capacidad
    capacita space room slots platz platze stellplatz place places plazas posti maks pojemn miejsc fits holds
    can_hold possible moglich espacio posible""",
    "EXISTING": """existing running installed in_place vorhanden bestand laufend aktuell current today
    existant installe existent instalad esistent installat bestaand istnieja zainstal stavajici heute actuel
    present live active deployed in_service""",
    "CAPWORD": "cap cap_per kap",
    "CAP": """per_host je_host pro_host par_hote por_host per_server je_server pro_server par_serveur
    por_servidor per_tb na_host per_appliance""",
    "COST": """cost price kosten preis cout prix coste costo costi precio prezzo prijs koszt cena custo preco
    fee rent miete loyer""",
    "UPLINK": """uplink wan bandwidth anbindung bandbreite debit bande bande_passante ancho_de_banda
    larghezza_di_banda bandbredd bandbreedte przepustow line_speed leitung link_mbps mbps mbit kaista internet
    access_speed""",
    "SERVES": "serves served covers serve bedient versorgt dessert sirve atiende serve_regioni obsluguje",
    "STORAGE": "storage speicher stockage almacenamiento archiviazione opslag san pamiec",
    "MGMT": "management mgmt admin verwaltung gestion gestione beheer zarzadzan",
    "NET": "net network vlan subnet netz netzwerk reseau red rete netwerk siec cidr",
    "TIMEZONE": "timezone time_zone zeitzone fuseau huso tijdzone strefa_czas tz",
    "WINDOW": "window maintenance wartungsfenster wartung fenetre ventana finestra onderhoud okno change_window",
    "CREW": "crew team mannschaft equipe equipo squadra ploeg zespol field_team technician",
    "OPEN": "open opens opening opened eroffnung offnung ouverture apertura opening_date otwarc otevren",
    "CLOSE": "close closes closing closure schliessung schliess fermeture cierre chiusura sluiting zamkniec",
    "STATUS": "status state lifecycle phase zustand etat estado stato statut stav fase situation situac",
    "DATE": """date day when measured time timestamp datum tag gemessen messung zeit zeitpunkt jour mesure
    heure fecha dia hora medid data misurat ora zeitstempel horodatage meting gemeten pomiar czas mereni cas
    дата""",
    "LOSS": "loss lost verlust paketverlust perte perdida perdita verlies strat ztrat packet_loss",
    "NODE": "node nodes knoten noeud noeuds nodo nodos nodi wezl uzel uzly members servers_per",
    "LINK": "link connection verbindung liaison enlace collegament kabel cable interconnect polaczen",
    "SPEED": "speed gbps gbit geschwind vitesse velocidad velocita snelheid predkosc rychlost",
    "KM": "km distance entfernung length lange_km distanz distancia distanza afstand odleglosc route_length",
    "FROM": "from source von origen origine de desde da src a_end end_a start probe_at",
    "TO": "to target destination nach hacia verso vers dst b_end end_b ziel remote",
    "PERCENT": "percent prozent % pct pourcent porcentaje percentuale procent",
    "RESERVE": """reserve spare headroom free growth puffer reserven freihalt freizuhalt marge reserva riserva
    rezerwa rezerva""",
    "FLOOR": "floor minimum min mindest least oldest minimal minimo minimale ab lowest earliest mindestens au_moins",
    "COVER": "cover survive loss_of redundan resilien ausfall uberleb tolerat_panne resist n+1 protect",
    "SPLIT": "split aufteil verteil diviser dividir dividere",
    "AGE": "age old alter days_old anciennete antiguedad eta",
    "BEST": "min minimum minimal best lowest kleinste",
    "AVG": """avg average mean median mittel mittelwert durchschnitt moyenne media promedio gemiddeld srednia
    prumer p50""",
    "WORST": "max maximum worst peak hochste spitze",
    "PCTL": "p90 p95 p99 95th 90th 99th perzentil percentile centile percentil",
    "SPREAD": "jitter stddev std sd mdev deviation abweichung ecart desviacion spread varianz streuung",
    "NEW": """new newer re_measured remeasured remeasure corrected correction update updated neu neue nachmess
    nachgemess korrektur recent again repeat nouveau nouvelle remesur corrig nuevo nueva actualiz nuovo nuova
    rimisur nieuw hermeting nowe poprawion novy ponovn latest fix second zweite""",
    "OLD": "old older first former alt alte ancien anterior vecchio oud stare stary previous erste baseline",
}

# Words that add no meaning of their own to a header.
_FILLERS = """the of for at in per to a an and or de des du la le les l d der die das den von vom fur je pro am im
zu zum mit del el los las y por para con di il lo gli e per da van het een voor op w na do i dla z
pour par au aux en sur ms s sec us km mi mbps kbps gbps mbit kbit gbit db % percent yes no y n ja
nein oui non si text required optional utf"""
FILLERS = frozenset(_FILLERS.split())

CONCEPTS: Mapping[str, tuple[str, ...]] = {name: tuple(words.split()) for name, words in _WORDS.items()}
