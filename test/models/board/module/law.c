/* The mapping law of the bench beside this, as C computes it. */
#include "../../../../scenarios/orchard-cart/firmware/jackstand.h"

void pass(void) { set_compare((read_count() - 186) * (62 - 46) / (828 - 186) + 46); }
