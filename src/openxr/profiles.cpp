// Which interaction profile serves each hand.
#include "layer.hpp"
#include "link.hpp"

namespace tautline::layer {
namespace {

/// Which profile serves a hand that holds no controller: the hand's own, or what a glove can do most of.
XrPath anticipated(const Instance& instance, Side side) {
  XrPath best = XR_NULL_PATH;
  int most = 0;
  for (const Suggestion& suggestion : instance.bound) {
    int count = 0;
    for (const Binding& binding : suggestion.bindings) {
      const Component& component = binding.component;
      if (component.of_hand && component.side == side && component.kind != Component::Kind::kNothing) count++;
    }
    if (count == 0) continue;
    if (suggestion.profile == instance.hand_interaction_profile) return suggestion.profile;
    if (count > most) {
      most = count;
      best = suggestion.profile;
    }
  }
  return best;
}

}  // namespace

void update_profiles(Session& session) {
  const Instance& instance = *session.instance;
  for (const Side side : kBothSides) {
    XrInteractionProfileState state{};
    state.type = XR_TYPE_INTERACTION_PROFILE_STATE;
    const bool known = XR_SUCCEEDED(
        instance.next.GetCurrentInteractionProfile(session.handle, instance.hands[side], &state));
    const XrPath below = known ? state.interactionProfile : XR_NULL_PATH;
    const bool changed_below = below != session.below_profiles[side];
    session.below_profiles[side] = below;
    const bool ours = below == instance.simple_profile && instance.simple_is_ours[side];
    XrPath reported = ours ? XR_NULL_PATH : below;
    if (reported == XR_NULL_PATH && Link::get().live(side)) reported = anticipated(instance, side);
    if (reported == session.reported_profiles[side]) continue;
    session.reported_profiles[side] = reported;
    if (changed_below) session.profile_changes++;
    else session.profile_event = true;
  }
}

}  // namespace tautline::layer
