// The scene as three.js draws it: the paper theatre, or a model of the user's own.
import {GLTFLoader, THREE} from "/lib/three.js";
import {inRig, offAxis, screenFrame} from "./offaxis.js";

const NEAR_M = 0.05, FAR_M = 50; // as rushlight.drive.views

/** A picture on a canvas, drawn for one screen. */
export function picture(canvas, theatre, screen) {
  const renderer = new THREE.WebGLRenderer({canvas, antialias: true});
  const scene = new THREE.Scene(), camera = new THREE.Camera();
  scene.background = new THREE.Color(theatre.backdrop);
  camera.matrixAutoUpdate = false;
  const told = screenFrame(theatre.screens[0].corners_m);
  let shown = paper(theatre, told);
  scene.add(shown);

  function draw(eye) {
    const found = offAxis(screen.corners_m, eye, NEAR_M, FAR_M);
    if (!found) return false;
    camera.projectionMatrix.set(...found.projection);
    camera.projectionMatrixInverse.copy(camera.projectionMatrix).invert();
    camera.matrix.set(...found.view).invert();
    camera.matrixWorldNeedsUpdate = true;
    renderer.render(scene, camera);
    return true;
  }

  function size(width, height, ratio) {
    renderer.setPixelRatio(ratio);
    renderer.setSize(width, height);
  }

  function show(object) {
    scene.remove(shown);
    scene.add(shown = object);
  }

  return {
    draw, size,
    theatre: () => show(paper(theatre, told)),
    async model(bytes) { show(placed(await parsed(bytes), told, theatre.depth_m)); },
    cross(pair) { // two marks for the view task, or null
      const old = scene.getObjectByName("pair");
      if (old) scene.remove(old);
      if (pair) scene.add(marks(pair, told));
    },
  };
}

function paper(theatre, told) {
  const group = new THREE.Group();
  for (const piece of theatre.pieces) {
    const flat = piece.outline_m.map(([x, y]) => new THREE.Vector2(x, y));
    if (THREE.ShapeUtils.isClockWise(flat)) flat.reverse(), piece.outline_m.reverse();
    const corners = THREE.ShapeUtils.triangulateShape(flat, []).flat()
      .flatMap(index => inRig(piece.outline_m[index], told));
    const geometry = new THREE.BufferGeometry();
    geometry.setAttribute("position", new THREE.Float32BufferAttribute(corners, 3));
    group.add(new THREE.Mesh(geometry, new THREE.MeshBasicMaterial(
      {color: piece.paint, side: THREE.DoubleSide})));
  }
  return group;
}

/** A near ring and a far disc: they differ by shape, and are in line when the ring holds the disc. */
function marks({near, far, grown: more}, told) {
  const group = new THREE.Group();
  group.name = "pair";
  const turn = new THREE.Matrix4().makeBasis(...told.axes.map(axis => new THREE.Vector3(...axis)));
  const scale = Math.hypot(...told.size) / 60;
  const add = (geometry, colour, place, order) => {
    const mesh = new THREE.Mesh(geometry, new THREE.MeshBasicMaterial(
      {color: colour, side: THREE.DoubleSide, depthTest: false, transparent: true}));
    mesh.setRotationFromMatrix(turn);
    mesh.position.set(...place);
    mesh.renderOrder = order;
    group.add(mesh);
  };
  const grown = scale * more;
  add(new THREE.CircleGeometry(grown * 1.1, 48), "#16181C", far, 1);
  add(new THREE.CircleGeometry(grown * 0.7, 48), "#F0A35E", far, 2);
  add(new THREE.RingGeometry(scale * 1.1, scale * 1.5, 64), "#16181C", near, 3);
  add(new THREE.RingGeometry(scale * 1.2, scale * 1.4, 64), "#FBF7EF", near, 4);
  return group;
}

function parsed(bytes) {
  // Everything has to be in the file: nothing is fetched by a model from elsewhere.
  const manager = new THREE.LoadingManager();
  manager.setURLModifier(url => (/^(blob:|data:)/.test(url) ? url : "data:,"));
  return new GLTFLoader(manager).parseAsync(bytes, "");
}

/** A model as large as the screen holds, its middle half the scene's depth behind it. */
function placed({scene: model}, told, depth) {
  const box = new THREE.Box3().setFromObject(model);
  const size = box.getSize(new THREE.Vector3()), middle = box.getCenter(new THREE.Vector3());
  const scale = 0.7 * Math.min(told.size[0] / size.x, told.size[1] / size.y, depth / (size.z || depth));
  if (!Number.isFinite(scale)) throw new Error("empty");
  const group = new THREE.Group(), turned = new THREE.Group();
  model.position.sub(middle);
  turned.add(model);
  turned.scale.setScalar(scale);
  turned.setRotationFromMatrix(new THREE.Matrix4().makeBasis(
    ...told.axes.map(axis => new THREE.Vector3(...axis))));
  turned.position.set(...inRig([told.size[0] / 2, told.size[1] / 2, -depth / 2], told));
  const light = new THREE.DirectionalLight("#FFFFFF", 2.2);
  light.position.set(...inRig([0, 2 * told.size[1], 1], told));
  group.add(turned, light, new THREE.HemisphereLight("#FFFFFF", "#8A7A66", 1.2));
  return group;
}
