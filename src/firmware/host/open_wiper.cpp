#include "open_wiper.h"

#include <algorithm>
#include <cmath>

// One node of first order: conductances to ground and, by the charge that is carried over, to the neighbour.
double OpenWiper::after(double seconds, double share, double neighbourShare) const {
  const double toNeighbour = holdFarads * readsPerSecond;
  const double toGround = pullDownOhms > 0 ? 1 / pullDownOhms : 0;
  const double all = toNeighbour + toGround;
  const double settled = (toNeighbour * neighbourShare - leakageAmperes / railVolts) / all;
  const double next = settled + (share - settled) * std::exp(-seconds * all / farads);
  return std::max(0.0, std::min(1.0, next));
}
