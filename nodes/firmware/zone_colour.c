/* See zone_colour.h. Lamps are taken to be red, green, blue and white as in nodes/lamp_colour.py, which says where that is from. */

#include "zone_colour.h"

enum { RED, GREEN, BLUE, WHITE };

/* Light of an 8-bit sRGB value, in parts of 2^43: IEC 61966-2-1. */
static const uint64_t linear[256] = {
    0ull, 2669851582ull, 5339703164ull, 8009554746ull, 10679406328ull, 13349257910ull,
    16019109492ull, 18688961074ull, 21358812656ull, 24028664238ull, 26698515820ull, 29436439881ull,
    32338900419ull, 35401785283ull, 38627532663ull, 42018527179ull, 45577102910ull, 49305546152ull,
    53206097945ull, 57280956381ull, 61532278736ull, 65962183429ull, 70572751835ull, 75366029963ull,
    80344030015ull, 85508731838ull, 90862084272ull, 96406006413ull, 102142388798ull, 108073094504ull,
    114199960192ull, 120524797082ull, 127049391869ull, 133775507594ull, 140704884454ull, 147839240582ull,
    155180272773ull, 162729657181ull, 170489049967ull, 178460087933ull, 186644389107ull, 195043553306ull,
    203659162680ull, 212492782213ull, 221545960220ull, 230820228804ull, 240317104307ull, 250038087734ull,
    259984665157ull, 270158308108ull, 280560473950ull, 291192606236ull, 302056135054ull, 313152477354ull,
    324483037266ull, 336049206408ull, 347852364172ull, 359893878015ull, 372175103721ull, 384697385673ull,
    397462057097ull, 410470440309ull, 423723846949ull, 437223578211ull, 450970925056ull, 464967168430ull,
    479213579463ull, 493711419672ull, 508461941149ull, 523466386748ull, 538725990265ull, 554241976608ull,
    570015561974ull, 586047954003ull, 602340351942ull, 618893946799ull, 635709921489ull, 652789450982ull,
    670133702442ull, 687743835365ull, 705621001711ull, 723766346033ull, 742181005604ull, 760866110537ull,
    779822783908ull, 799052141866ull, 818555293750ull, 838333342197ull, 858387383250ull, 878718506462ull,
    899327794995ull, 920216325722ull, 941385169322ull, 962835390376ull, 984568047455ull, 1006584193213ull,
    1028884874474ull, 1051471132314ull, 1074344002150ull, 1097504513816ull, 1120953691646ull, 1144692554551ull,
    1168722116092ull, 1193043384559ull, 1217657363040ull, 1242565049493ull, 1267767436816ull, 1293265512914ull,
    1319060260765ull, 1345152658486ull, 1371543679398ull, 1398234292083ull, 1425225460452ull, 1452518143798ull,
    1480113296860ull, 1508011869876ull, 1536214808642ull, 1564723054565ull, 1593537544720ull, 1622659211897ull,
    1652088984660ull, 1681827787391ull, 1711876540344ull, 1742236159695ull, 1772907557583ull, 1803891642166ull,
    1835189317660ull, 1866801484388ull, 1898729038822ull, 1930972873630ull, 1963533877716ull, 1996412936262ull,
    2029610930769ull, 2063128739101ull, 2096967235521ull, 2131127290732ull, 2165609771913ull, 2200415542761ull,
    2235545463523ull, 2271000391037ull, 2306781178766ull, 2342888676832ull, 2379323732053ull, 2416087187973ull,
    2453179884902ull, 2490602659943ull, 2528356347027ull, 2566441776945ull, 2604859777378ull, 2643611172929ull,
    2682696785152ull, 2722117432585ull, 2761873930776ull, 2801967092313ull, 2842397726852ull, 2883166641148ull,
    2924274639077ull, 2965722521669ull, 3007511087131ull, 3049641130876ull, 3092113445544ull, 3134928821036ull,
    3178088044530ull, 3221591900513ull, 3265441170799ull, 3309636634561ull, 3354179068348ull, 3399069246110ull,
    3444307939223ull, 3489895916510ull, 3535833944265ull, 3582122786271ull, 3628763203829ull, 3675755955772ull,
    3723101798491ull, 3770801485952ull, 3818855769723ull, 3867265398986ull, 3916031120563ull, 3965153678934ull,
    4014633816256ull, 4064472272383ull, 4114669784884ull, 4165227089063ull, 4216144917977ull, 4267424002452ull,
    4319065071105ull, 4371068850360ull, 4423436064463ull, 4476167435504ull, 4529263683430ull, 4582725526064ull,
    4636553679121ull, 4690748856225ull, 4745311768924ull, 4800243126707ull, 4855543637019ull, 4911214005279ull,
    4967254934892ull, 5023667127266ull, 5080451281827ull, 5137608096035ull, 5195138265395ull, 5253042483477ull,
    5311321441924ull, 5369975830472ull, 5429006336960ull, 5488413647347ull, 5548198445722ull, 5608361414321ull,
    5668903233536ull, 5729824581935ull, 5791126136269ull, 5852808571487ull, 5914872560747ull, 5977318775434ull,
    6040147885165ull, 6103360557808ull, 6166957459488ull, 6230939254606ull, 6295306605845ull, 6360060174182ull,
    6425200618906ull, 6490728597620ull, 6556644766263ull, 6622949779110ull, 6689644288793ull, 6756728946305ull,
    6824204401016ull, 6892071300680ull, 6960330291447ull, 7028982017876ull, 7098027122939ull, 7167466248040ull,
    7237300033017ull, 7307529116158ull, 7378154134208ull, 7449175722379ull, 7520594514361ull, 7592411142332ull,
    7664626236966ull, 7737240427443ull, 7810254341459ull, 7883668605234ull, 7957483843524ull, 8031700679628ull,
    8106319735394ull, 8181341631236ull, 8256766986135ull, 8332596417651ull, 8408830541933ull, 8485469973725ull,
    8562515326375ull, 8639967211845ull, 8717826240719ull, 8796093022208ull
};

typedef struct triple {
    uint8_t lamp[3];
    int64_t amount_of[3][3]; /* of each lamp, for each of linear red, green and blue, in parts of 2^31 (2^29 the first) */
} triple;

/* The lamps' chromaticities solved for each three of them. With white first: a colour takes the white lamp where it can. */
static const triple triples[4] = {
    {{RED, GREEN, WHITE},
     {{83646467ll, 46285065ll, -996520746ll}, {26549ll, 330489166ll, -1343709125ll}, {30465740ll, 7195845ll, 2378991951ll}}},
    {{GREEN, BLUE, WHITE},
     {{-451999817ll, 1071787627ll, 11320729ll}, {-8248953ll, -4564488ll, 98273755ll}, {916803793ll, 468657166ll, 45453835ll}}},
    {{RED, BLUE, WHITE},
     {{334507275ll, -793187841ll, -8378026ll}, {-1938ll, -24119913ll, 98067201ll}, {122049686ll, 2353188059ll, 65359144ll}}},
    {{RED, GREEN, BLUE},
     {{385877262ll, 197255013ll, 19131249ll}, {69413212ll, 1338326612ll, 37171650ll}, {1264549ll, 298680ll, 98745421ll}}}
};

static uint16_t share_of(uint64_t amount, uint64_t most)
{
    return (uint16_t)((2u * amount * ZONE_FULL_SHARE + most) / (2u * most));
}

bool zone_kelvin_shares(uint32_t kelvin, uint32_t warm_k, uint32_t cool_k, uint16_t shares[ZONE_MOST_CHANNELS])
{
    const uint32_t above = kelvin < warm_k ? warm_k : kelvin;
    const uint32_t kept = above > cool_k ? cool_k : above;
    const uint64_t whole = (uint64_t)kept * (cool_k - warm_k);
    const uint64_t cool = (uint64_t)cool_k * (kept - warm_k); /* mixed by reciprocal temperature (mired) */
    const uint64_t warm = whole - cool;
    const uint64_t most = warm > cool ? warm : cool;
    shares[0] = most > 0u ? share_of(warm, most) : 0u;
    shares[1] = most > 0u ? share_of(cool, most) : 0u;
    return kept != kelvin;
}

/* Red, green and blue as light, the brightest with 31 bits: only how they stand to each other counts. */
static void light_of(uint32_t colour, int64_t light[3])
{
    const uint64_t red = linear[(colour >> 16) & 0xFFu];
    const uint64_t green = linear[(colour >> 8) & 0xFFu];
    const uint64_t blue = linear[colour & 0xFFu];
    uint64_t most = red > green ? red : green;
    uint8_t shift = 0u;
    for (most = most > blue ? most : blue; most > 0x7FFFFFFFull; most >>= 1) {
        shift++;
    }
    light[0] = (int64_t)(red >> shift);
    light[1] = (int64_t)(green >> shift);
    light[2] = (int64_t)(blue >> shift);
}

/* How much of each lamp of three; the same scale for all three. */
static void amounts_of(const triple *lamps, const int64_t light[3], int64_t amounts[3])
{
    uint8_t lamp;
    for (lamp = 0u; lamp < 3u; lamp++) {
        const int64_t *of = lamps->amount_of[lamp];
        amounts[lamp] = (of[0] * light[0] + of[1] * light[1] + of[2] * light[2]) / 131072;
    }
}

static int64_t most_of(const int64_t amounts[3])
{
    const int64_t of_two = amounts[0] > amounts[1] ? amounts[0] : amounts[1];
    return of_two > amounts[2] ? of_two : amounts[2];
}

static int64_t least_of(const int64_t amounts[3])
{
    const int64_t of_two = amounts[0] < amounts[1] ? amounts[0] : amounts[1];
    return of_two < amounts[2] ? of_two : amounts[2];
}

static void place(const triple *lamps, const int64_t amounts[3], uint16_t shares[ZONE_MOST_CHANNELS])
{
    const int64_t most = most_of(amounts);
    uint8_t lamp;
    for (lamp = 0u; lamp < 3u; lamp++) {
        const bool lit = most > 0 && amounts[lamp] > 0;
        shares[lamps->lamp[lamp]] = lit ? share_of((uint64_t)amounts[lamp], (uint64_t)most) : 0u;
    }
}

bool zone_rgb_shares(uint32_t colour, uint16_t channels, uint16_t shares[ZONE_MOST_CHANNELS])
{
    int64_t light[3];
    int64_t amounts[3];
    uint8_t tried;
    shares[RED] = shares[GREEN] = shares[BLUE] = shares[WHITE] = 0u;
    if (colour == 0u) {
        return false;
    }
    light_of(colour, light);
    for (tried = channels == 4u ? 0u : 3u; tried < 4u; tried++) {
        amounts_of(&triples[tried], light, amounts);
        if (least_of(amounts) * 1000 >= -most_of(amounts)) { /* a thousandth below nothing is nearly nothing */
            place(&triples[tried], amounts, shares);
            return false;
        }
    }
    /* Outside what they can make: red, green and blue without the one that would have to be negative. */
    place(&triples[3], amounts, shares);
    return true;
}
