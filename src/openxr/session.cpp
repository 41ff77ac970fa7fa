// Sessions, their events and their frames.
#include "layer.hpp"
#include "link.hpp"

namespace tautline::layer {

XRAPI_ATTR XrResult XRAPI_CALL CreateSession(XrInstance handle, const XrSessionCreateInfo* info, XrSession* session) {
  return guarded([&] {
    const auto instance = objects().instances.find(handle);
    if (!instance) return XR_ERROR_HANDLE_INVALID;
    const XrResult result = instance->next.CreateSession(handle, info, session);
    if (XR_FAILED(result)) return result;
    const auto made = std::make_shared<Session>();
    made->handle = *session;
    made->instance = instance;
    objects().sessions.add(*session, made);
    update_time(*instance, 0, 0);
    return result;
  });
}

XRAPI_ATTR XrResult XRAPI_CALL DestroySession(XrSession handle) {
  return guarded([&] {
    const auto session = objects().sessions.find(handle);
    if (!session) return XR_ERROR_HANDLE_INVALID;
    forget_trackers(*session);
    forget_spaces(*session);
    if (session->focused.load()) Link::get().report().focus(false);
    objects().sessions.remove(handle);
    return session->instance->next.DestroySession(handle);
  });
}

XRAPI_ATTR XrResult XRAPI_CALL BeginSession(XrSession handle, const XrSessionBeginInfo* info) {
  return guarded([&] {
    const auto session = objects().sessions.find(handle);
    if (!session) return XR_ERROR_HANDLE_INVALID;
    const XrResult result = session->instance->next.BeginSession(handle, info);
    if (XR_SUCCEEDED(result)) session->running.store(true);
    return result;
  });
}

XRAPI_ATTR XrResult XRAPI_CALL EndSession(XrSession handle) {
  return guarded([&] {
    const auto session = objects().sessions.find(handle);
    if (!session) return XR_ERROR_HANDLE_INVALID;
    const XrResult result = session->instance->next.EndSession(handle);
    if (XR_SUCCEEDED(result)) session->running.store(false);
    return result;
  });
}

namespace {

/// An event of our own, if one waits. @return false: none
bool own_event(const std::shared_ptr<Instance>& instance, XrEventDataBuffer* data) {
  for (const auto& session : objects().sessions.all()) {
    if (session->instance != instance || !session->running.load()) continue;
    const std::lock_guard lock(session->mutex);
    if (!session->profile_event) continue;
    session->profile_event = false;
    auto* event = reinterpret_cast<XrEventDataInteractionProfileChanged*>(data);
    event->type = XR_TYPE_EVENT_DATA_INTERACTION_PROFILE_CHANGED;
    event->next = nullptr;
    event->session = session->handle;
    return true;
  }
  return false;
}

/// Whether an event tells of nothing but a profile that is there for our own action.
bool is_ours_alone(const XrEventDataBuffer& data) {
  if (data.type != XR_TYPE_EVENT_DATA_INTERACTION_PROFILE_CHANGED) return false;
  const auto& event = reinterpret_cast<const XrEventDataInteractionProfileChanged&>(data);
  const auto session = objects().sessions.find(event.session);
  if (!session) return false;
  const std::lock_guard lock(session->mutex);
  if (!session->attached) return false;
  if (session->profile_changes == 0) return true;
  session->profile_changes--;
  return false;
}

}  // namespace

XRAPI_ATTR XrResult XRAPI_CALL PollEvent(XrInstance handle, XrEventDataBuffer* data) {
  return guarded([&] {
    const auto instance = objects().instances.find(handle);
    if (!instance) return XR_ERROR_HANDLE_INVALID;
    XrResult result = instance->next.PollEvent(handle, data);
    while (result == XR_SUCCESS && is_ours_alone(*data)) {
      data->type = XR_TYPE_EVENT_DATA_BUFFER;
      data->next = nullptr;
      result = instance->next.PollEvent(handle, data);
    }
    if (result == XR_EVENT_UNAVAILABLE) {
      if (own_event(instance, data)) return XR_SUCCESS;
    } else if (result == XR_SUCCESS && data->type == XR_TYPE_EVENT_DATA_SESSION_STATE_CHANGED) {
      const auto& event = *reinterpret_cast<const XrEventDataSessionStateChanged*>(data);
      const auto session = objects().sessions.find(event.session);
      if (session) session->focused.store(event.state == XR_SESSION_STATE_FOCUSED);
      if (session) Link::get().report().focus(event.state == XR_SESSION_STATE_FOCUSED);
    }
    return result;
  });
}

XRAPI_ATTR XrResult XRAPI_CALL WaitFrame(XrSession handle, const XrFrameWaitInfo* info, XrFrameState* state) {
  return guarded([&] {
    const auto session = objects().sessions.find(handle);
    if (!session) return XR_ERROR_HANDLE_INVALID;
    const XrResult result = session->instance->next.WaitFrame(handle, info, state);
    if (XR_FAILED(result)) return result;
    session->displayed.store(state->predictedDisplayTime, std::memory_order_relaxed);
    update_time(*session->instance, state->predictedDisplayTime, state->predictedDisplayPeriod);
    keep_wrist(*session);
    tell_grips(*session);
    return result;
  });
}

}  // namespace tautline::layer
