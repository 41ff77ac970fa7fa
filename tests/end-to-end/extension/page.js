// A page as others write it: it knows WebXR, and nothing of gloves. It writes down what it sees of hands.
const seen = { hands: {}, features: undefined, error: undefined, ended: 0 };
globalThis.seen = seen;
let space;
let session;

async function enter() {
  seen.error = undefined;
  try {
    const features = new URLSearchParams(location.search);
    const options = features.has('without')
      ? {}
      : features.has('required')
        ? { requiredFeatures: ['hand-tracking'] }
        : { optionalFeatures: ['hand-tracking'] };
    if (!navigator.xr) throw new Error('no WebXR');
    session = await navigator.xr.requestSession('immersive-vr', options);
    session.addEventListener('end', () => seen.ended++);
    const canvas = document.createElement('canvas');
    const gl = canvas.getContext('webgl', { xrCompatible: true });
    session.updateRenderState({ baseLayer: new XRWebGLLayer(session, gl) });
    space = await session.requestReferenceSpace('local');
    seen.running = true;
    session.requestAnimationFrame(frame);
  } catch (error) {
    seen.error = `${error.name}: ${error.message}`;
  }
}

function frame(_time, frame) {
  session.requestAnimationFrame(frame_);
  look(frame);
}
const frame_ = (time, xrFrame) => frame(time, xrFrame);

function look(xrFrame) {
  seen.features = session.enabledFeatures;
  seen.sources = [...session.inputSources].map(({ handedness }) => handedness);
  for (const source of session.inputSources) {
    const { hand, handedness } = source;
    if (!hand) {
      seen.hands[handedness] = null;
      continue;
    }
    const tip = hand.get('index-finger-tip');
    const wrist = xrFrame.getJointPose(hand.get('wrist'), space);
    const pose = xrFrame.getJointPose(tip, space);
    const transforms = new Float32Array(16 * hand.size);
    const radii = new Float32Array(hand.size);
    const filled = xrFrame.fillPoses?.([...hand.values()], space, transforms);
    const filledRadii = xrFrame.fillJointRadii?.([...hand.values()], radii);
    const { position: p } = pose?.transform ?? { position: {} };
    const { position: g } = xrFrame.getPose(source.gripSpace, space)?.transform ?? { position: {} };
    const { position: w } = wrist?.transform ?? { position: {} };
    seen.hands[handedness] = {
      size: hand.size,
      own: hand instanceof (globalThis.XRHand ?? Object),
      tip: [p.x, p.y, p.z],
      wrist: [w.x, w.y, w.z],
      grip: [g.x, g.y, g.z],
      radius: pose?.radius,
      filled,
      filledRadii,
      finite: [...transforms, ...radii].every(Number.isFinite),
    };
  }
  seen.frames = (seen.frames ?? 0) + 1;
}
document.getElementById('enter').addEventListener('click', enter);
document.getElementById('leave').addEventListener('click', () => session?.end());
