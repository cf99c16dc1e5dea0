use moldvet::{field::*, mesh::{self,*}, units::Unit};
use std::time::Instant;
fn main(){
 let f=std::env::args().nth(1).unwrap();
 let m=mesh::read(std::path::Path::new(&f), Unit::Mm, &Limits::default()).unwrap();
 let (_,h)=m.bodies[0].mesh.bounds().unwrap(); let mm=m.bodies[0].mesh.transformed(&nalgebra::Isometry3::translation(0.,0.,-h.z)); let mesh=&mm;
 let t=Instant::now(); let d=Dropper::new(mesh); println!("new {:?}",t.elapsed());
 let (lo,hi)=mesh.bounds().unwrap();
 for (name,p) in [("ball1.5",Profile::ball(1.5)),("ball3",Profile::ball(3.0)),("ball10",Profile::ball(10.0)),("bull13.5/1",Profile::Cutter{radius:13.5,corner_radius:1.0}),("flat13",Profile::flat(13.0))]{
  let t=Instant::now(); let n=2000; let mut s=0.0;
  for k in 0..n { let u=(k as f64*0.6180339)%1.0; let v=(k as f64*0.7548776)%1.0;
   let x=lo.x+(hi.x-lo.x)*(0.2+0.6*u); let y=lo.y+(hi.y-lo.y)*(0.2+0.6*v);
   s+=d.centre_height(p,x,y).map_or(0.0,|c|c.z); }
  println!("{name}: {:?} per call ({s:.3})",t.elapsed()/n);
 }
 let t=Instant::now(); let o=BallOffset::new(mesh,&m.bodies[0].topology); println!("BallOffset new {:?}",t.elapsed());
 for r in [1.5,3.0,10.0]{ let t=Instant::now(); let g=Grid::covering([lo.x,lo.y],[hi.x,hi.y],r,r/24.0); let h=o.height_map(g,r); println!("map r{r} {:?} {} nodes {}",t.elapsed(),g.len(),h.values()[100]); }
 let t=Instant::now(); let r=Rays::new(mesh); println!("rays {:?}",t.elapsed());
 let t=Instant::now(); let mut c=0; for k in 0..2000 { let u=(k as f64*0.6180339)%1.0; let v=(k as f64*0.7548776)%1.0;
   let p=Point::new(lo.x+(hi.x-lo.x)*(0.2+0.6*u), lo.y+(hi.y-lo.y)*(0.2+0.6*v), hi.z-3.0); if r.any_within(&p,2.0){c+=1;} } println!("any_within {:?} {c}",t.elapsed()/2000);
}
