import { XRDevice } from 'iwer';

/**
 * A page with a headset in it that is emulated by the npm package `iwer` (MIT), which implements the WebXR Device API
 * and knows nothing of us: `?hands` for its own hands, else controllers; `?old` for a browser that has no hands.
 */

/** Of the registry of input profiles of the W3C's group: trigger, squeeze, stick. */
const gamepad = {
  mapping: 'xr-standard',
  buttons: [{ id: 'trigger', type: 'analog', eventTrigger: 'select' }],
  axes: [],
} as never;
/** Where it is gripped: turned a quarter about x, 2 cm below and 5 cm behind where it points from. Column by column. */
const gripOffsetMatrix = [1, 0, 0, 0, 0, 0, 1, 0, 0, -1, 0, 0, 0, -0.02, 0.05, 1];
const layout = { gamepad, gripOffsetMatrix, numHapticActuators: 0 };

const query = new URLSearchParams(location.search);
const device = new XRDevice({
  name: 'Test headset',
  controllerConfig: {
    profileId: 'generic-trigger',
    fallbackProfileIds: [],
    layout: { left: layout, right: layout } as never,
  },
  supportedSessionModes: ['inline', 'immersive-vr'],
  supportedFeatures: query.has('old') ? ['viewer', 'local'] : ['viewer', 'local', 'hand-tracking'],
  supportedFrameRates: [90],
  isSystemKeyboardSupported: false,
  internalNominalFrameRate: 90,
  environmentBlendModes: { 'immersive-vr': 'opaque' as never },
  interactionMode: 'world-space' as never,
  userAgent: 'Test headset',
});
device.installRuntime({ forceInstall: true });
// Features that are not there are refused by a NotSupportedError (WebXR Device API, `requestSession`).
const xr = (navigator as unknown as { xr: { requestSession(...args: unknown[]): Promise<unknown> } }).xr;
const request = xr.requestSession.bind(xr);
xr.requestSession = (...args) =>
  request(...args).catch(({ message }: Error) => {
    throw new DOMException(message, 'NotSupportedError');
  });
device.primaryInputMode = query.has('hands') ? 'hand' : 'controller';
for (const [side, x] of [
  ['left', -0.2],
  ['right', 0.2],
] as const) {
  device.controllers[side]?.position.set(x, 1.2, -0.4);
  const hand = device.hands[side];
  hand?.position.set(x, 1.2, -0.4);
  // It moves its joints by way of the property that pages read, where a browser has its own. One pose is enough here.
  if (hand) hand.updateHandPose = () => {};
}
