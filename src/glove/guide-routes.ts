import type { FastifyInstance } from 'fastify';
import type { SavedHand } from '../config/fit-file.js';
import { TautlineError } from '../errors.js';
import { GUIDE_TASKS, type GuideTask } from '../guide/report.js';
import { fitHandFramesSteps } from '../hand/fit-hand.js';
import type { JointPositions } from '../hand/joint-positions.js';
import { skeletonOptions } from '../hand/skeleton.js';
import { onlyTheWearer } from '../protocol/refusals.js';
import { inTimeSlices } from '../time-slices.js';
import type { LiveGlove } from './glove.js';
import {
  keep,
  keepFound,
  LONGEST_NAME,
  mustBeShown,
  personOf,
  plain,
  storeOf,
  withGloveOf,
} from './guide-requests.js';
import { ignoreBodies } from './ignore-bodies.js';
import { fitsOf, undoFit } from './kept-fits.js';

/**
 * The guided check and fit over HTTP, for the command line and for pages.
 *
 *   POST /guide?task=check|fit   begin; forces are taken away. A fit may name its `person`
 *   POST /guide?task=actuators   the same for the string stops; its first move asks the wearer to arm
 *   POST /guide?task=mount       how the tracker sits on the hand; an app must send `tracker` with `of: tracker`
 *   GET  /guide                  the present move, or what was found
 *   GET  /guide/trace            what the last check recorded, for plots
 *   POST /guide/next             the wearer made the move; in the first move of `actuators`, it arms, and so must come
 *                                from the page or the command line
 *   POST /guide/stop             give up
 *   POST /guide/accept           use the fit that was found, and keep it; after a fit of the mount, with part=sensors,
 *                                put right the sensors that it found to be off
 *   GET  /fits                   every fit of the glove
 *   POST /fits/undo              back to the one before; with savedAt=TIME, takes back that one alone
 *   POST /fits/use?person=NAME   another wearer
 *   POST /fits/hand              bones from joint positions: one set by WebXR joint name, or a list of them
 *   POST /rezero                 the hand is held open now: take this as open
 *
 * While a recording is shown, all of these but reading, stopping and going on are refused: the glove behind it is hidden.
 *
 * `hand=left|right` tells gloves apart when there are two. The first five answer with the state of the guide.
 *
 * Who begins a run leads it. It ends when nothing is heard of its leader for two seconds: every request that carries
 * the `leader=ID` it was begun with counts, reading as well; without an ID, every request without one. `by=NAME` is
 * the name that others see who want to lead meanwhile. Everybody may look, and everybody may stop it.
 */
export function addGuideRoutes(app: FastifyInstance, gloves: readonly LiveGlove[]): void {
  let fittingBones = false;
  const withGlove = withGloveOf(gloves);
  app.register(async (scope) => {
    ignoreBodies(scope);
    scope.get(
      '/guide',
      withGlove(({ guide }, { leader = '' }) => {
        guide.heardOf(leader);
        return guide.read();
      }),
    );
    scope.get(
      '/guide/trace',
      withGlove(({ guide }, { leader = '' }) => {
        guide.heardOf(leader);
        if (guide.trace) return guide.trace;
        throw new TautlineError('notSupported', 'There is no check to show: make one first.');
      }),
    );
    scope.post(
      '/guide',
      withGlove((glove, { task, person, leader = '', by = 'a program' }) => {
        if (!(GUIDE_TASKS as readonly (string | undefined)[]).includes(task)) {
          throw new TautlineError('usage', `task is one of: ${GUIDE_TASKS.join(', ')}.`);
        }
        mustBeShown(glove);
        mustLead(glove, leader);
        if (leader.length > LONGEST_NAME || by.length > LONGEST_NAME || /\p{C}/u.test(by)) {
          throw new TautlineError('usage', `leader and by have at most ${LONGEST_NAME} characters.`);
        }
        if (!glove.frame.valid) {
          throw new TautlineError('notSupported', glove.frame.reason ?? 'The glove sends nothing.');
        }
        const who = personOf(glove, person);
        if (task === 'actuators' && !glove.guide.canFitStops()) {
          throw new TautlineError(
            'usage',
            'No stop of this glove can be fitted: it takes one string stop a finger, and a glove that knows "free".',
          );
        }
        if (task === 'mount' && !glove.hasTracker) {
          throw new TautlineError(
            'notSupported',
            'Nothing says where a tracker on this hand is.',
            'Start the application that knows it (it sends `tracker` with `of: "tracker"`), then try again.',
          );
        }
        // Nobody may be held while he is asked to move.
        glove.disarm(`the ${task}`, 'wearer');
        glove.feel.stop(`A ${task} was begun.`);
        glove.guide.start(task as GuideTask, who, { id: leader, name: by });
        return glove.guide.read();
      }),
    );
    scope.post(
      '/guide/next',
      withGlove((glove, { leader = '' }, { wearer }) => {
        const { guide } = glove;
        mustLead(glove, leader);
        if (guide.asksToArm() && !wearer) {
          const { code, message } = onlyTheWearer(glove.description.howToArm);
          throw new TautlineError(code, message);
        }
        guide.heardOf(leader);
        guide.next();
        return guide.read();
      }),
    );
    scope.post(
      '/guide/stop',
      withGlove(({ guide }) => {
        guide.stop('Stopped by the wearer.');
        return guide.read();
      }),
    );
    scope.post(
      '/guide/accept',
      withGlove(async (glove, { leader = '', part }) => {
        mustBeShown(glove);
        mustLead(glove, leader);
        const { fit, stops, mount } = glove.guide;
        if (part !== undefined) return await acceptSensors(glove, part);
        if (mount?.fitted) {
          const { mount: pose, by, rotationDeg, translationM, residualM } = mount.fitted;
          await keepFound(glove, mount, () => ({
            mount: { pose: [...pose], by, rotationDeg, translationM, residualM },
          }));
          return glove.guide.read();
        }
        if (stops && stops.fitted.length > 0) {
          await keepFound(glove, stops, () => ({ actuators: stops.fitted.map((stop) => ({ ...stop })) }));
          return glove.guide.read();
        }
        if (!fit || fit.channels.length === 0) {
          const why = fit?.refused === undefined ? 'make one first.' : fit.refused;
          throw new TautlineError('notSupported', `There is no fit to accept: ${why}`);
        }
        const { channels, residualDeg } = fit;
        await keepFound(glove, fit, () => ({ channels: [...channels.map(plain)], residualDeg }));
        return glove.guide.read();
      }),
    );
    scope.post(
      '/rezero',
      withGlove((glove) => {
        mustBeShown(glove);
        glove.rezero('http');
        return { hand: glove.description.hand };
      }),
    );
    scope.get(
      '/fits',
      withGlove((glove) => fitsOf(glove)),
    );
    scope.post(
      '/fits/undo',
      withGlove(async (glove, { savedAt }) => {
        mustBeShown(glove);
        await undoFit(glove, savedAt);
        return fitsOf(glove);
      }),
    );
    scope.post(
      '/fits/use',
      withGlove(async (glove, { person }) => {
        // Another wearer is another one for both hands.
        for (const one of gloves) mustBeShown(one);
        const store = storeOf(glove);
        const known = [...new Set(store.entries.filter(({ undone }) => !undone).map((fit) => fit.person))];
        if (person === undefined || !known.includes(person)) {
          const names = known.join(', ') || 'nobody yet';
          throw new TautlineError('notSupported', `No fit of ${person ?? 'a person'}; fitted: ${names}.`);
        }
        store.person = person;
        // One after the other: the second hand is mostly the first one's mirror image, and worked out by then.
        for (const one of gloves) {
          one.learner.outdated(true);
          await one.refit();
        }
        return fitsOf(glove);
      }),
    );
  });

  app.post(
    '/fits/hand',
    withGlove(async (glove, { person }, { body }) => {
      mustBeShown(glove);
      if (fittingBones) {
        throw new TautlineError('tooMany', 'Bones are being fitted already.', 'Try again when that is done.');
      }
      const who = personOf(glove, person);
      const frames = (Array.isArray(body) ? body : [body]) as JointPositions[];
      if (frames.length === 0 || frames.some((frame) => typeof frame !== 'object' || frame === null)) {
        throw new TautlineError(
          'badMessage',
          'Expected joint positions by WebXR joint name, or a list of them.',
        );
      }
      fittingBones = true;
      const { skeleton, rmsM } = await inTimeSlices(fitHandFramesSteps(frames)).finally(() => {
        fittingBones = false;
      });
      const { side: _side, ...options } = skeletonOptions(skeleton);
      keep(glove, who, {
        skeleton: { ...(options as Omit<SavedHand, 'rmsM' | 'frames'>), rmsM, frames: frames.length },
      });
      await glove.refit();
      return { ...fitsOf(glove), rmsMm: rmsM * 1000 };
    }),
  );
}

/** @throws TautlineError that says who leads the run under way */
function mustLead({ guide }: LiveGlove, id: string): void {
  const leader = guide.otherLeader(id);
  if (!leader) return;
  throw new TautlineError(
    'tooMany',
    `This glove is led through a ${guide.read().task} already, by ${leader.name}.`,
    'Let it end, or stop it there or with POST /guide/stop.',
  );
}

/** Puts right the sensors that a fit of the mount found to be off: a fit of its own, that can be undone alone. */
async function acceptSensors(glove: LiveGlove, part: string): Promise<unknown> {
  if (part !== 'sensors') throw new TautlineError('usage', 'part is `sensors`, or left out.');
  const { mount } = glove.guide;
  if (!mount?.sensors || !mount.accepted) {
    throw new TautlineError('notSupported', 'No fit of a mount is in use that found sensors to be off.');
  }
  if (!mount.sensorsAccepted) {
    const offered = mount.sensors.map(({ offDeg: _, ...channel }) => plain(channel));
    // A fit holds all of a glove's sensors: those that are not off stay as they were fitted.
    const others = (glove.fitsInUse.channels?.channels ?? []).filter(
      ({ role }) => !offered.some((one) => one.role === role),
    );
    const square = offered.reduce((sum, { residualDeg }) => sum + residualDeg ** 2, 0);
    const { savedAt } = keep(glove, mount.person, {
      channels: [...others, ...offered],
      residualDeg: Math.sqrt(square / offered.length),
    });
    mount.sensorsKeptAt = savedAt;
    mount.sensorsAccepted = true;
    await glove.refit();
  }
  return glove.guide.read();
}
