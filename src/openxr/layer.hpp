// What the parts of the layer share: what lies below, and what was made of it. See docs/openxr.md.
//
//   negotiate   the only exported function
//   instance    creation, function table, extensions, system properties
//   session     sessions, their events and frames
//   hands       hand trackers
//   wrist       where a wrist is: own actions on the grip pose, or the runtime's own hand
//   actions     action sets, actions, suggested bindings, attaching
//   components  what an input path means for a glove
//   sync        synchronising, and the merged states of actions; parts: what controller and glove give to them
//   profiles    which profile serves a hand
//   states      what an application reads of them
//   spaces      poses of the hand in place of a controller's
//   haptics     vibrations
//   link        the connection to the service; messages: what it says
//   time        XrTime and this machine's clock
#ifndef TAUTLINE_OPENXR_LAYER_HPP
#define TAUTLINE_OPENXR_LAYER_HPP

#include <array>
#include <atomic>
#include <cstdint>
#include <memory>
#include <mutex>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include <openxr/openxr.h>

#include "chain.hpp"
#include "components.hpp"
#include "hand-sample.hpp"
#include "registry.hpp"
#include "specification.h"

namespace tautline::layer {

/// Functions of the core that are called below, or intercepted.
#define TAUTLINE_CORE(X)                \
  X(ApplyHapticFeedback)                \
  X(AttachSessionActionSets)            \
  X(BeginSession)                       \
  X(CreateAction)                       \
  X(CreateActionSet)                    \
  X(CreateActionSpace)                  \
  X(CreateReferenceSpace)               \
  X(CreateSession)                      \
  X(DestroyAction)                      \
  X(DestroyActionSet)                   \
  X(DestroyInstance)                    \
  X(DestroySession)                     \
  X(DestroySpace)                       \
  X(EndSession)                         \
  X(EnumerateBoundSourcesForAction)     \
  X(GetActionStateBoolean)              \
  X(GetActionStateFloat)                \
  X(GetActionStatePose)                 \
  X(GetActionStateVector2f)             \
  X(GetCurrentInteractionProfile)       \
  X(GetInputSourceLocalizedName)        \
  X(GetSystemProperties)                \
  X(LocateSpace)                        \
  X(PathToString)                       \
  X(PollEvent)                          \
  X(StopHapticFeedback)                 \
  X(StringToPath)                       \
  X(SuggestInteractionProfileBindings)  \
  X(SyncActions)                        \
  X(WaitFrame)

/// What lies below: the next layer, or the runtime. Functions of extensions are null unless their extension is enabled.
struct Next {
  PFN_xrGetInstanceProcAddr GetInstanceProcAddr = nullptr;
#define TAUTLINE_MEMBER(name) PFN_xr##name name = nullptr;
  TAUTLINE_CORE(TAUTLINE_MEMBER)
#undef TAUTLINE_MEMBER
  PFN_xrCreateHandTrackerEXT CreateHandTrackerEXT = nullptr;
  PFN_xrDestroyHandTrackerEXT DestroyHandTrackerEXT = nullptr;
  PFN_xrLocateHandJointsEXT LocateHandJointsEXT = nullptr;
  LocateSpaces LocateSpacesAny = nullptr;
};

/// An extension that the layer can bring by itself.
struct Extension {
  bool asked = false;  ///< the application enabled it
  bool below = false;  ///< what lies below knows it, and it is enabled there
  bool emulated() const { return asked && !below; }
};

struct ActionSet;

struct Action {
  XrAction handle;
  std::weak_ptr<ActionSet> set;
  XrActionSet set_handle;
  XrActionType type;
  bool declares[kSides] = {};  ///< subaction paths
};

struct ActionSet {
  XrActionSet handle;
  std::uint32_t priority;
  bool attached = false;
  std::vector<std::shared_ptr<Action>> actions;
};

/// One suggested binding, and what a glove can do for it.
struct Binding {
  XrAction action;
  XrPath path;
  Component component;
  bool below;  ///< what lies below knows the path
};

struct Suggestion {
  XrPath profile;
  bool below;  ///< what lies below knows the profile
  bool hand_interaction;
  bool merged = false;  ///< what lies below was given our bindings with it
  std::vector<Binding> bindings;
};

/// An action set of our own at one of the application's priorities: the grip pose of both hands.
struct GripSet {
  std::uint32_t priority;
  XrActionSet set;
  XrAction action;
};

/// The clock of XrTime against this machine's monotonic one.
struct TimeBase {
  std::atomic<std::int64_t> offset_ns{0};  ///< XrTime less monotonic
  std::atomic<bool> known{false};
  bool exact = false;  ///< by a conversion extension; else from frames
};

struct Instance {
  XrInstance handle = XR_NULL_HANDLE;
  Next next;
  Extension hand_tracking, motion_range, data_source, hand_interaction;
  /// Names of functions that only we may call.
  std::vector<std::string_view> hidden;
  PFN_xrVoidFunction convert_time = nullptr;
  TimeBase time;
  XrPath hands[kSides] = {};  ///< /user/hand/left and right
  XrPath hand_interaction_profile = XR_NULL_PATH;
  XrPath simple_profile = XR_NULL_PATH;
  /// What the system properties said last; -1: not asked.
  std::atomic<int> tracks_hands{-1};

  /// Guards what follows.
  std::mutex mutex;
  std::vector<std::shared_ptr<ActionSet>> sets;
  /// As suggested last; and what was in force when each set was attached, which nothing changes any more.
  std::vector<Suggestion> suggestions, bound;
  std::vector<GripSet> grips;
  bool grips_made = false;
  /// The simple controller's profile is there for our action, and not for the application.
  bool simple_is_ours[kSides] = {};
  /// Ours are attached alone. A suggestion passed on now would replace theirs, which cannot be made again.
  bool alone = false;
  unsigned names_used = 0;
};

/// The state of an action for one subaction path, or for all: what controller and glove say together.
struct Merged {
  bool primed = false;  ///< it has been computed: the application reads it in place of the runtime's
  bool active = false;
  float x = 0, y = 0;
  bool changed = false;
  XrTime changed_at = 0;
  /// For poses: the hand that serves in place of a controller.
  bool by_hand = false;
  Side hand = kLeft;
};
/// Left, right, and any.
constexpr int kAny = 2;
using MergedStates = std::array<Merged, 3>;

struct Session {
  XrSession handle = XR_NULL_HANDLE;
  std::shared_ptr<Instance> instance;
  std::atomic<bool> focused{false};
  std::atomic<bool> running{false};
  std::atomic<int> trackers{0};
  /// Of our own grip pose, as of the last sync; null: none. Read without a lock.
  std::atomic<XrSpace> grip_spaces[kSides]{};
  /// What poses are checked against and composed over.
  std::atomic<XrSpace> reference{XR_NULL_HANDLE};
  /// On the floor, in the middle of the play space; with `stage_asked` and none, the runtime has none.
  std::atomic<XrSpace> stage{XR_NULL_HANDLE};
  std::atomic<bool> stage_asked{false};
  /// Of the runtime's own, for wrists of hand poses that no controller gives.
  std::atomic<XrHandTrackerEXT> cameras[kSides]{};
  /// Actions whose poses come from the hand.
  std::atomic<int> poses_by_hand{0};
  std::atomic<XrTime> displayed{0};

  /// Guards what follows.
  std::mutex mutex;
  bool attached = false;
  /// We attached our sets because the application had none, and it attached its own afterwards.
  bool attached_alone = false, attached_late = false;
  unsigned frames = 0;
  std::vector<std::shared_ptr<ActionSet>> sets;
  std::vector<std::array<XrSpace, kSides>> grip_actions_spaces;  ///< for each of Instance::grips
  std::unordered_map<XrAction, MergedStates> merged;
  XrPath below_profiles[kSides] = {};     ///< of what lies below
  XrPath reported_profiles[kSides] = {};  ///< as the application is told
  /// Events of the runtime's that the application is to get, and whether it is to get one of ours.
  int profile_changes = 0;
  bool profile_event = false;
  bool pressed[kSides][kInputs] = {};
  bool touched[kSides][kInputs] = {};
};

/// A space of a pose action of the application's.
struct ActionSpace {
  XrSpace handle;
  std::shared_ptr<Session> session;
  XrAction action;
  int slot;  ///< a Side, or kAny
  XrPosef offset;
};

struct Objects {
  Registry<XrInstance, Instance> instances;
  Registry<XrSession, Session> sessions;
  Registry<XrActionSet, ActionSet> sets;
  Registry<XrAction, Action> actions;
  Registry<XrSpace, ActionSpace> spaces;
  /// To which instance an action set belongs.
  Registry<XrActionSet, Instance> instance_of_set;
};
Objects& objects();

// instance
XrResult create_instance(const XrInstanceCreateInfo* info, const struct LayerCreateInfo* layer, XrInstance* instance);
XRAPI_ATTR XrResult XRAPI_CALL get_instance_proc_addr(XrInstance instance, const char* name,
                                                      PFN_xrVoidFunction* function);
/// Brings the time base up to date. @param predicted_display_time of a frame that was just waited for, or 0
void update_time(Instance& instance, XrTime predicted_display_time, XrDuration period);
/// Local monotonic time of an XrTime; as good as there is.
std::int64_t local_ns(const Instance& instance, XrTime time);
XrTime xr_time(const Instance& instance, std::int64_t local_ns);

// hands
void forget_trackers(const Session& session);
/// Trackers of the runtime's own, for poses of a hand that holds nothing.
void open_cameras(Session& session);
/// The runtime's own hand for a wrist. @return false: it has none, or sees none
bool camera_wrist(const Session& session, Side side, XrSpace base, XrTime time, Wrist& wrist);

// wrist
/// Own action sets at the priorities of the application's, with their suggestions; once for an instance.
void make_grip_sets(Instance& instance, const std::vector<std::shared_ptr<ActionSet>>& attached);
void make_grip_spaces(Session& session);
/// Which of our sets to synchronise beside the application's, and takes their spaces into use.
std::vector<XrActiveActionSet> choose_grip_sets(Session& session, const XrActionsSyncInfo& sync);
/// For an application without actions: attaches ours after some frames, and synchronises them.
void keep_wrist(Session& session);
/// The grips of the hands that have a glove, as they are, to the service: once a frame.
void tell_grips(Session& session);
/// Where the wrist is by what it carries. @return an error of the call; wrist.valid says whether it was found
XrResult grip_wrist(const Session& session, const HandSample& sample, Side side, XrSpace base, XrTime time,
                    Wrist& wrist);
/// The session's reference space, made when first needed.
XrSpace reference_of(Session& session);

// actions
std::string path_string(const Instance& instance, XrPath path);
/// The bindings in force for a profile, or null. Under the instance's lock.
const Suggestion* bound_for(const Instance& instance, XrPath profile);

// sync
/// The profiles as they are now, for the application and below; after a sync. Under both locks.
void update_profiles(Session& session);

// spaces
/// Takes note of how many states of pose actions follow a hand.
void count_poses(Session& session, int by_hand);
void forget_spaces(Session& session);

// What stands in place of the functions below.
XRAPI_ATTR XrResult XRAPI_CALL DestroyInstance(XrInstance);
XRAPI_ATTR XrResult XRAPI_CALL GetSystemProperties(XrInstance, XrSystemId, XrSystemProperties*);
XRAPI_ATTR XrResult XRAPI_CALL CreateSession(XrInstance, const XrSessionCreateInfo*, XrSession*);
XRAPI_ATTR XrResult XRAPI_CALL DestroySession(XrSession);
XRAPI_ATTR XrResult XRAPI_CALL BeginSession(XrSession, const XrSessionBeginInfo*);
XRAPI_ATTR XrResult XRAPI_CALL EndSession(XrSession);
XRAPI_ATTR XrResult XRAPI_CALL PollEvent(XrInstance, XrEventDataBuffer*);
XRAPI_ATTR XrResult XRAPI_CALL WaitFrame(XrSession, const XrFrameWaitInfo*, XrFrameState*);
XRAPI_ATTR XrResult XRAPI_CALL CreateActionSet(XrInstance, const XrActionSetCreateInfo*, XrActionSet*);
XRAPI_ATTR XrResult XRAPI_CALL DestroyActionSet(XrActionSet);
XRAPI_ATTR XrResult XRAPI_CALL CreateAction(XrActionSet, const XrActionCreateInfo*, XrAction*);
XRAPI_ATTR XrResult XRAPI_CALL DestroyAction(XrAction);
XRAPI_ATTR XrResult XRAPI_CALL SuggestInteractionProfileBindings(XrInstance,
                                                                 const XrInteractionProfileSuggestedBinding*);
XRAPI_ATTR XrResult XRAPI_CALL AttachSessionActionSets(XrSession, const XrSessionActionSetsAttachInfo*);
XRAPI_ATTR XrResult XRAPI_CALL GetCurrentInteractionProfile(XrSession, XrPath, XrInteractionProfileState*);
XRAPI_ATTR XrResult XRAPI_CALL SyncActions(XrSession, const XrActionsSyncInfo*);
XRAPI_ATTR XrResult XRAPI_CALL GetActionStateBoolean(XrSession, const XrActionStateGetInfo*, XrActionStateBoolean*);
XRAPI_ATTR XrResult XRAPI_CALL GetActionStateFloat(XrSession, const XrActionStateGetInfo*, XrActionStateFloat*);
XRAPI_ATTR XrResult XRAPI_CALL GetActionStateVector2f(XrSession, const XrActionStateGetInfo*, XrActionStateVector2f*);
XRAPI_ATTR XrResult XRAPI_CALL GetActionStatePose(XrSession, const XrActionStateGetInfo*, XrActionStatePose*);
XRAPI_ATTR XrResult XRAPI_CALL EnumerateBoundSourcesForAction(XrSession, const XrBoundSourcesForActionEnumerateInfo*,
                                                              std::uint32_t, std::uint32_t*, XrPath*);
XRAPI_ATTR XrResult XRAPI_CALL GetInputSourceLocalizedName(XrSession, const XrInputSourceLocalizedNameGetInfo*,
                                                           std::uint32_t, std::uint32_t*, char*);
XRAPI_ATTR XrResult XRAPI_CALL CreateActionSpace(XrSession, const XrActionSpaceCreateInfo*, XrSpace*);
XRAPI_ATTR XrResult XRAPI_CALL DestroySpace(XrSpace);
XRAPI_ATTR XrResult XRAPI_CALL LocateSpace(XrSpace, XrSpace, XrTime, XrSpaceLocation*);
XRAPI_ATTR XrResult XRAPI_CALL LocateSpacesAny(XrSession, const SpacesLocateInfo*, SpaceLocations*);
XRAPI_ATTR XrResult XRAPI_CALL ApplyHapticFeedback(XrSession, const XrHapticActionInfo*, const XrHapticBaseHeader*);
XRAPI_ATTR XrResult XRAPI_CALL StopHapticFeedback(XrSession, const XrHapticActionInfo*);
XRAPI_ATTR XrResult XRAPI_CALL CreateHandTrackerEXT(XrSession, const XrHandTrackerCreateInfoEXT*, XrHandTrackerEXT*);
XRAPI_ATTR XrResult XRAPI_CALL DestroyHandTrackerEXT(XrHandTrackerEXT);
XRAPI_ATTR XrResult XRAPI_CALL LocateHandJointsEXT(XrHandTrackerEXT, const XrHandJointsLocateInfoEXT*,
                                                   XrHandJointLocationsEXT*);

}  // namespace tautline::layer

#endif  // TAUTLINE_OPENXR_LAYER_HPP
