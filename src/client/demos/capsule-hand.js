// Draws a hand of balls and sticks with three.js: one ball a joint, one stick a bone, as thick as the finger.
import { FINGERS, JOINT_NAMES, JOINT_PARENT } from 'tautline/client';
import * as THREE from 'three';

const a = new THREE.Vector3();
const b = new THREE.Vector3();
const up = new THREE.Vector3(0, 1, 0);
const SKIN = { color: 0xd9c2ad, roughness: 0.7 };

/** @returns place(pose), and glow(finger, 0..1) for what a finger feels */
export function createCapsuleHand(scene) {
  const palm = new THREE.MeshStandardMaterial(SKIN);
  const skins = Object.fromEntries(FINGERS.map((finger) => [finger, new THREE.MeshStandardMaterial(SKIN)]));
  const bones = JOINT_NAMES.map((name, joint) => {
    const finger = name.split('-')[0].replace('pinky', 'little');
    const material = name.endsWith('metacarpal') ? palm : (skins[finger] ?? palm);
    const ball = new THREE.Mesh(new THREE.SphereGeometry(1, 20, 16), material);
    const stick = new THREE.Mesh(new THREE.CylinderGeometry(1, 1, 1, 20, 1, true), material);
    scene.add(ball, stick);
    return { ball, stick, at: joint * 8, parentAt: JOINT_PARENT[joint] * 8 };
  });
  return {
    place({ poses }) {
      for (const { ball, stick, at, parentAt } of bones) {
        const radius = poses[at + 7];
        ball.position.fromArray(poses, at);
        ball.scale.setScalar(radius);
        stick.visible = parentAt >= 0;
        if (parentAt < 0) continue;
        a.fromArray(poses, at);
        b.fromArray(poses, parentAt);
        stick.position.copy(a).add(b).multiplyScalar(0.5);
        stick.scale.set(radius, Math.max(a.distanceTo(b), 1e-6), radius);
        stick.quaternion.setFromUnitVectors(up, a.sub(b).normalize());
      }
    },
    glow: (finger, amount) => skins[finger].emissive.setRGB(0.9 * amount, 0.25 * amount, 0),
  };
}
