// A strict OpenXR runtime for tests: it does what the specification says, and refuses, and complains of, whatever the
// specification does not permit: unknown structures in a chain, unknown handles, functions of extensions that were not
// enabled, calls out of turn. What the world does (controllers, cameras, focus) is told to it line by line, through
// test_runtime_command(), or at its start by the environment variable TAUTLINE_TEST_RUNTIME.
#ifndef TAUTLINE_TEST_RUNTIME_HPP
#define TAUTLINE_TEST_RUNTIME_HPP

#include <cstdint>
#include <initializer_list>
#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include <openxr/openxr.h>

#include "../../../src/openxr/rigid.hpp"

namespace test_runtime {

using tautline::layer::kIdentity;

/// A few structure types; allocates nothing, so that what a layer allocates can be counted.
struct Types {
  XrStructureType list[4];
  int count = 0;
  Types(std::initializer_list<XrStructureType> types) {
    for (const XrStructureType each : types) list[count++] = each;
  }
  const XrStructureType* begin() const { return list; }
  const XrStructureType* end() const { return list + count; }
};

struct Motion {
  XrPosef pose = kIdentity;
  XrVector3f linear{}, angular{};
};

/// A thing that a hand holds, as the test says.
struct Controller {
  bool on = false;
  bool tracked = true;  ///< else its pose is inferred
  bool located = true;
  std::string profile;
  Motion grip;
};

struct Camera {
  bool on = false;
  Motion wrist;
};

struct Binding {
  XrAction action;
  std::string path;
};

struct Action {
  XrActionSet set;
  XrActionType type;
  std::string name;
  std::vector<XrPath> subactions;
};

struct ActionSet {
  std::uint32_t priority = 0;
  /// In force since it was attached first, by profile.
  std::map<std::string, std::vector<Binding>> bound;
  std::string name, localized;
  bool attached = false;
  std::set<XrAction> actions;
};

struct State {
  bool active = false;
  float x = 0, y = 0;
  bool changed = false;
  XrTime changed_at = 0;
};

struct Space {
  bool reference = false;
  XrReferenceSpaceType type{};
  XrAction action = XR_NULL_HANDLE;
  XrPath subaction = XR_NULL_PATH;
  XrPosef offset = kIdentity;
};

struct Session {
  bool running = false, focused = false, attached = false, ending = false;
  XrSessionState state = XR_SESSION_STATE_UNKNOWN;
  int frames_waited = 0, frames_begun = 0;
  std::set<XrActionSet> sets;
  /// What was suggested for them when they were attached; what is suggested later changes nothing.
  std::map<std::string, std::vector<Binding>> suggestions;
  std::map<XrSpace, Space> spaces;
  std::map<XrHandTrackerEXT, int> trackers;
  std::string profiles[2];
  /// By action and subaction path.
  std::map<std::pair<XrAction, XrPath>, State> states;
  /// Source of each pose action, for each subaction path: which hand, or -1.
  std::map<std::pair<XrAction, XrPath>, int> pose_sources;
};

struct Haptic {
  int applied = 0, stopped = 0;
  float amplitude = 0;
};

struct World {
  std::recursive_mutex mutex;
  std::set<std::string> features;  ///< of the environment variable
  bool instance = false;
  std::set<std::string> extensions;  ///< enabled
  std::vector<std::string> paths;
  std::map<XrActionSet, ActionSet> sets;
  std::map<XrAction, Action> actions;
  std::map<std::string, std::vector<Binding>> suggestions;
  std::map<XrSession, Session> sessions;
  std::vector<XrEventDataBuffer> events;
  Controller controllers[2];
  Camera cameras[2];
  std::map<std::string, float> values;
  Haptic haptics[2];
  Motion head;
  std::vector<std::string> complaints;
  std::uint64_t handles = 0x1000;
  int instances_made = 0;
  int calls_of_convert = 0;
};

World& world();
using Lock = std::lock_guard<std::recursive_mutex>;

XrTime now();
bool enabled(const char* extension);
bool has(const char* feature);

/// Takes note of a call that no application or layer should have made. @return the result to give
XrResult complain(XrResult result, const std::string& text);

/// Whether a structure is there, has the type, and has nothing in its chain but these.
bool well_formed(const void* structure, XrStructureType type, const Types& chain,
                 const char* function);

Session* find_session(XrSession session, const char* function);
std::string path_text(XrPath path);
XrPath path_for(const std::string& text);
int hand_of(XrPath path);
int hand_of_text(const std::string& path);

/// Where a space is, in the frame of LOCAL. @return false: not known now
bool place(const Session& session, const Space& space, Motion& motion, bool& tracked);

void push_state(XrSession handle, Session& session, XrSessionState state);
void push_profile_changed(XrSession handle);
bool profile_has(const std::string& profile, const std::string& path);
bool is_profile(const std::string& profile);

PFN_xrVoidFunction core_function(const std::string& name);
PFN_xrVoidFunction action_function(const std::string& name);
PFN_xrVoidFunction space_function(const std::string& name);
#ifndef _WIN32
PFN_xrVoidFunction graphics_function(const std::string& name);
/// What a session draws with. @return false: the chain is none of a known kind
bool take_graphics(const void* chain);
#endif

}  // namespace test_runtime

#endif  // TAUTLINE_TEST_RUNTIME_HPP
