import type { Logger } from 'pino';
import { nowUs } from '../clock.js';
import { ANY_APP_PERMISSIONS } from '../config/schema.js';
import type { Glove } from '../glove/glove.js';
import { reportLink } from '../glove/reports.js';
import { JOINT_COUNT, JOINT_NAMES, POSE_STRIDE } from '../hand/joints.js';
import { logEvent } from '../log/events.js';
import { firmwareReport } from '../protocol/firmware-versions.js';
import {
  type AppMessage,
  type ServerMessage,
  type ServerMessageOf,
  STREAM_PROTOCOL,
} from '../protocol/messages.js';
import type { Refusal } from '../protocol/refusals.js';
import type { WhoArms } from '../resistance/governor.js';
import { type UnusedLine, unusedLines } from '../resistance/unused-lines.js';
import type { AppConnection, ConnectionHost } from './connection.js';
import { ConnectionBurst } from './connection-burst.js';
import { Feed } from './feed.js';
import type { StreamLimits } from './limits.js';
import { createOpenxrApps, type OpenxrApp, type OpenxrApps } from './openxr-apps.js';
import { createPermissions, type Permissions } from './permissions.js';
import { answer, whoIs } from './requests.js';
import { Scheduler } from './scheduler.js';
import { type HolderWatch, watchHolders } from './watch-holders.js';

const CAUTION =
  'Forces are on. Strings, servos and batteries can pinch, burn and jam: keep tension capped, try it with the ' +
  'glove off the hand first, keep a way to get the hand out, and disarm when in doubt.';

/** A disarm of every hand this soon after another says nothing new. */
const DISARMED_TWICE_MS = 20;

/** Gloves on one side, connections on the other, and what concerns all of them. */
export class Hub implements ConnectionHost {
  readonly connections = new Set<AppConnection>();
  readonly feeds: readonly Feed[];
  readonly burst = new ConnectionBurst();
  readonly scheduler: Scheduler;
  readonly #beat: NodeJS.Timeout;
  readonly #watch: HolderWatch;
  #tellSubscribed = (): void => {};
  /** Resolves when the first app has subscribed. */
  readonly subscribed = new Promise<void>((resolve) => {
    this.#tellSubscribed = resolve;
  });
  #disarmedAllMs = Number.NEGATIVE_INFINITY;
  #cautioned = false;
  /** For metrics. `dropped`: of apps that have left. */
  readonly counts = {
    dropped: { json: 0, binary: 0 },
    messages: 0,
    refused: 0,
    tooManyApps: 0,
    notPermitted: 0,
  };

  constructor(
    readonly gloves: readonly Glove[],
    readonly version: string,
    readonly limits: StreamLimits,
    readonly logger: Logger,
    readonly permissions: Permissions = createPermissions({
      permissions: { anyApp: [...ANY_APP_PERMISSIONS], apps: [] },
    }),
    readonly openxr: OpenxrApps = createOpenxrApps(),
  ) {
    this.scheduler = new Scheduler(limits, this.burst);
    this.feeds = gloves.map((glove) => new Feed(glove, logger, (feed) => this.#described(feed)));
    this.#beat = setInterval(() => {
      const nowMs = performance.now();
      for (const connection of this.connections) connection.beat(nowMs);
    }, limits.probeEveryMs);
    this.#watch = watchHolders(gloves, this.connections, limits.watchEveryMs);
  }

  begin(connection: AppConnection): void {
    this.connections.add(connection);
    connection.send(this.#welcome(connection));
  }

  act(connection: AppConnection, message: AppMessage): ServerMessage {
    const said = answer(this, connection, message);
    this.counts.messages++;
    if (said.type === 'error') this.counts.refused++;
    return said;
  }

  disarmAll(connection: AppConnection): void {
    // An app that keeps sending it needs no release for each.
    const nowMs = performance.now();
    const isFree = this.feeds.every(({ glove }) => !glove.armed);
    if (isFree && nowMs - this.#disarmedAllMs < DISARMED_TWICE_MS) return;
    this.#disarmedAllMs = nowMs;
    this.disarm(undefined, connection.name ?? connection.app, whoIs(this, connection));
  }

  watchAll(): void {
    this.#watch.wake();
  }

  free(connection: AppConnection): void {
    for (const { glove } of this.feeds) glove.drop(connection.app);
  }

  ended(connection: AppConnection): void {
    // Forces first.
    this.free(connection);
    for (const feed of this.feeds) feed.remove(connection);
    this.openxr.left(connection, Date.now());
    if (this.connections.delete(connection)) this.counts.dropped[connection.encoding] += connection.dropped;
    logEvent(this.logger, 'app.left', {
      app: connection.app,
      name: connection.name,
      dropped: connection.dropped,
    });
  }

  /** The feeds of a hand, or of every hand. Sides can change at a glove's first hello. */
  feedsOf(hand: string | undefined): Feed[] {
    return this.feeds.filter(({ glove }) => hand === undefined || glove.description.hand === hand);
  }

  /** Makes the connection a reader of what its subscription says, and of nothing else. */
  connect(connection: AppConnection): void {
    this.#tellSubscribed();
    for (const feed of this.feeds) {
      feed.remove(connection);
      this.#join(feed, connection);
    }
  }

  /**
   * Arms the hand, or every hand that is connected.
   * @returns the caution, the first time that anybody arms in this run, or why not
   */
  arm(hand: string | undefined, by: string, who: WhoArms): { caution?: string } | { refused: Refusal } {
    if (!this.feedsOf(hand).some(({ glove }) => glove.connected)) {
      const message = `No glove is connected${hand ? ` for the ${hand} hand` : ''}: connect it, then arm.`;
      return { refused: { code: 'notSupported', message } };
    }
    let refused: Refusal | undefined;
    for (const { glove } of this.feedsOf(hand)) {
      const refusal = glove.arm(by, who);
      // Of several, what keeps a glove that is there says more than that another one is not.
      if (refusal && (!refused || glove.connected)) refused = refusal;
    }
    for (const feed of this.feedsOf(hand)) feed.armedChanged();
    if (!this.isArmed(hand) && refused) return { refused };
    logEvent(this.logger, 'armed', { hand: hand ?? 'all', by });
    if (this.#cautioned) return {};
    this.#cautioned = true;
    return { caution: CAUTION };
  }

  /** Frees every finger of the hand, or of every hand. */
  disarm(hand: string | undefined, by: string, who: WhoArms): void {
    for (const feed of this.feedsOf(hand)) {
      feed.glove.disarm(by, who);
      feed.armedChanged();
    }
    for (const connection of this.connections) connection.drawLine();
    logEvent(this.logger, 'disarmed', { hand: hand ?? 'all', by });
  }

  /** Whether the hand, or every hand that is connected, is armed: right after a disarm a glove refuses to be. */
  isArmed(hand: string | undefined): boolean {
    const connected = this.feedsOf(hand).filter(({ glove }) => glove.connected);
    return connected.length > 0 && connected.every(({ glove }) => glove.armed);
  }

  /** Messages dropped for slow readers since the start, also of apps that have left. */
  get droppedMessages(): number {
    let dropped = this.counts.dropped.json + this.counts.dropped.binary;
    for (const connection of this.connections) dropped += connection.dropped;
    return dropped;
  }

  /** OpenXR applications of now and of late, and why a hand of theirs is not served. */
  openxrApps(): OpenxrApp[] {
    return this.openxr.list(
      this.gloves.map(({ description, linkStatus, frame }) => ({
        hand: description.hand,
        link: reportLink(linkStatus),
        valid: frame.valid,
        reason: frame.reason,
      })),
    );
  }

  status(): object {
    return {
      name: 'tautline',
      version: this.version,
      uptimeS: Math.round(nowUs() / 1e6),
      gloves: this.gloves.map((glove) => ({
        name: glove.description.name,
        armed: glove.armed,
        unused: unusedNow(glove),
        troubles: glove.readTroubles(),
        // What an update would bring; nothing is known of it before the glove has said what it is.
        ...(glove.description.firmwareVersion === undefined
          ? {}
          : { firmware: firmwareReport(glove.description.firmwareVersion) }),
        fitOffer: glove.readFromUse(),
        ...glove.readHealth(),
      })),
      apps: [...this.connections].map(({ app, name, encoding, wanted, dropped, behind }) => ({
        app,
        name,
        encoding,
        streams: wanted?.streams ?? [],
        // Of each hand it gets, the rate of poses that it was granted.
        rates: wanted
          ? this.feeds
              .filter(({ glove }) => !wanted.hands || wanted.hands.includes(glove.description.hand))
              .map((feed) => ({ hand: feed.glove.description.hand, rateHz: feed.granted(wanted.rateHz) }))
          : [],
        predictMs: wanted?.predictMs ?? 0,
        dropped,
        behind,
      })),
    };
  }

  close(): void {
    clearInterval(this.#beat);
    this.#watch.end();
    for (const feed of this.feeds) feed.close();
  }

  #described(feed: Feed): void {
    for (const connection of this.connections) connection.send(this.#welcome(connection));
    if (!feed.outdated()) return;
    // All leave before any joins: groups are remade for the new rate or side.
    for (const connection of this.connections) feed.remove(connection);
    for (const connection of this.connections) this.#join(feed, connection);
  }

  #join(feed: Feed, connection: AppConnection): void {
    const { wanted } = connection;
    if (wanted && (!wanted.hands || wanted.hands.includes(feed.glove.description.hand))) {
      feed.add(connection, wanted);
    }
  }

  #welcome(connection: AppConnection): ServerMessageOf<'welcome'> {
    return {
      type: 'welcome',
      protocol: STREAM_PROTOCOL,
      server: { name: 'tautline', version: this.version },
      app: connection.app,
      timeUs: Math.round(nowUs()),
      jointOrder: [...JOINT_NAMES],
      hands: this.gloves.map(describe),
    };
  }
}

/** What a glove has that is never used; nothing of a recording, of which nothing could be. */
export const unusedNow = ({ description, linkStatus }: Glove): UnusedLine[] =>
  linkStatus.recorded === undefined ? unusedLines(description.actuators) : [];

function describe(glove: Glove): ServerMessageOf<'welcome'>['hands'][number] {
  const { hand, name, sampleRateHz, deviceId, firmwareVersion, channels, actuators, skeleton, inputPaths } =
    glove.description;
  const { maxTensionN, howToArm, mount, feel } = glove.description;
  const { wrist } = glove.readHealth();
  return {
    hand,
    name,
    link: reportLink(glove.linkStatus),
    armed: glove.armed,
    howToArm,
    ...(feel === undefined ? {} : { feel: { ...feel } }),
    sampleRateHz,
    ...(deviceId === undefined ? {} : { deviceId }),
    ...(firmwareVersion === undefined ? {} : { firmwareVersion }),
    channels: [...channels],
    actuators: [...actuators],
    skeleton: {
      lengthM: skeleton.lengthM,
      breadthM: skeleton.breadthM,
      radiiM: Array.from(skeleton.radii),
      restPoses: Array.from({ length: JOINT_COUNT }, (_, joint) =>
        Array.from(skeleton.restPoses.subarray(joint * POSE_STRIDE, joint * POSE_STRIDE + 7)),
      ),
    },
    inputs: [...inputPaths],
    ...(mount === undefined ? {} : { mount: [...mount] }),
    ...(wrist === undefined ? {} : { wrist }),
    ...(maxTensionN === undefined ? {} : { maxTensionN }),
  };
}
